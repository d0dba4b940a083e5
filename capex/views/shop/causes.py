"""Where else a problem is shown: at the entry that may have caused it.

May import: from capex errors, `views.shop.choices`, `views.shop.slots` and
`views.shop.study_text`.
"""

from __future__ import annotations

import re
from typing import Final

from capex.errors import Problem
from capex.views.shop.choices import part_name
from capex.views.shop.slots import labelled, spoken
from capex.views.shop.study_text import StudyText

__all__ = ["cause", "caused"]

#: Terms of an offer that its price bounds.
_BY_PRICE: Final = re.compile(
    r"(offers\.[^.]+)\.(?:loan\.(?:balloon|equity)|lease\.rentals_in_advance)"
)


def cause(edited: StudyText, problem: Problem) -> str:
    """Return the place of the price that a term of an offer does not go with, else nothing.

    Examples
    --------
    >>> from capex.study import StudyFile, data_folder
    >>> edited = StudyText(StudyFile.read(data_folder() / "studies" / "quenlow.toml").text)
    >>> edited.set("machines.mid_all_in_one.price", "345")
    >>> [(each.path, cause(edited, each)) for each in edited.problems]
    [('offers.all_in_one_loan.loan.balloon', 'machines.mid_all_in_one.price')]
    """
    found = _BY_PRICE.fullmatch(problem.path)
    if found is None or "the price" not in problem.bound:
        return ""
    if edited.raw(f"{found[1]}.price") is not None:
        return f"{found[1]}.price"
    return f"machines.{edited.raw(f'{found[1]}.machine')}.price"


def caused(edited: StudyText, problem: Problem) -> str:
    """Return a problem of an offer as it is said elsewhere: of which offer, and which term."""
    way = problem.path.split(".")
    offer, term = part_name(edited.raw(".".join(way[:2]))), spoken(way[-1])
    return f"{offer}, “{term}”: {labelled(problem.bound)}"
