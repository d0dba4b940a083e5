"""What to call machines of one name: labels for people, never read back.

Imports `capex.study`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Container, Iterator, Sequence
from itertools import count

from capex.study import Alternative, Study
from capex.study.room_checks import machines_standing

__all__ = ["machine_labels", "told_apart"]


def told_apart(names: Sequence[str]) -> tuple[str, ...]:
    """Return a label for each name: the name itself, with a number where it comes up again.

    Assumes nothing of the names: no label is another's, whatever brackets and numbers they hold.

    Parameters
    ----------
    names : sequence of str

    Returns
    -------
    tuple of str
        In the order of the names.

    Examples
    --------
    >>> told_apart(["Cutter", "Printer", "Cutter"])
    ('Cutter (1)', 'Printer', 'Cutter (2)')
    >>> told_apart(["Cutter", "Cutter (2)", "Cutter"])
    ('Cutter (1)', 'Cutter (2)', 'Cutter (3)')
    """
    times = Counter(names)
    numbered = {name: _numbered(name, times) for name, often in times.items() if often > 1}
    return tuple(next(numbered[name]) if name in numbered else name for name in names)


def _numbered(name: str, taken: Container[str]) -> Iterator[str]:
    for number in count(1):
        label = f"{name} ({number})"
        if label not in taken:
            yield label


def machine_labels(study: Study, alternative: Alternative) -> tuple[tuple[int, str], ...]:
    """Return every machine that ever stands under an alternative: its entry there and its label.

    Parameters
    ----------
    study : Study
    alternative : Alternative

    Returns
    -------
    tuple of (int, str)
        Index of `alternative.machines`, named as often as it counts machines; labels differ.
    """
    standing = machines_standing(alternative)
    names = [study.machines[alternative.machines[index].machine].name for index in standing]
    return tuple(zip(standing, told_apart(names), strict=True))
