"""What of a study is still as it came with the demo: figures that are nobody's.

May import: from capex study.
"""

from __future__ import annotations

from functools import cache

from capex.study import Quantity, Study, data_folder, read_study

__all__ = ["as_it_came", "invented_html"]

#: Below this share of a study's figures nothing is said: some figures of any shop are alike.
_FEW = 0.05
_MOST = 0.8


@cache
def _shipped() -> dict[str, Quantity]:
    """Return what the demo states itself, by path."""
    demo = read_study(data_folder() / "studies" / "quenlow.toml")
    return {path: each for path, each in demo.quantities() if each.source != "default"}


def as_it_came(study: Study) -> tuple[int, int]:
    """Return how many figures stand as in the demo, value and source, and how many are stated.

    Examples
    --------
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> same, stated = as_it_came(study)
    >>> same == stated
    True
    >>> other, _ = as_it_came(study.replaced({"shop.people.wage": 30 / 3600}))
    >>> same - other
    1
    """
    shipped = _shipped()
    stated = [(path, each) for path, each in study.quantities() if each.source != "default"]
    return sum(shipped.get(path) == each for path, each in stated), len(stated)


def invented_html(study: Study) -> str:
    """Return what to know while figures are those of the invented shop; nothing once few are."""
    same, stated = as_it_came(study)
    if not stated or same < _FEW * stated:
        return ""
    count = f"{same} of {stated} figures stand as they came"
    if same < _MOST * stated:
        return (
            f"<p><strong>{count}, with the invented shop.</strong> Put your own in their place: "
            "as far as they go the verdict is invented too.</p>"
        )
    return (
        "<p><strong>The shop that stands here is invented</strong>, with all its machines, prices "
        f"and orders: {count}. Put your own in their place: the name, the order book, then what "
        "matters most. What you leave as it is stays invented, and so does the verdict.</p>"
    )
