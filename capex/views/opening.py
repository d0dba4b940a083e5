"""How a page opens: on the study that was asked for, or with all that is wrong with it.

May import: ipywidgets, and from capex errors, study, `views.arrival`, `views.cards`,
`views.floor.boxes` and `views.request`.
"""

from __future__ import annotations

import gc
from collections.abc import Callable
from pathlib import Path

import ipywidgets as widgets

from capex.errors import CapexError
from capex.study import data_folder
from capex.views.arrival import told_of
from capex.views.cards import problems_html
from capex.views.floor.boxes import box, words
from capex.views.request import requested_study

__all__ = ["opened", "study_asked_for"]


def study_asked_for(demo: str = "quenlow") -> Path:
    """Return the file of the study that this page shall show.

    Parameters
    ----------
    demo : str
        Name of the shipped study, where none was asked for.

    Raises
    ------
    InputError
        The address names no study that there is.
    """
    studies = data_folder() / "studies"
    return requested_study(studies) or studies / f"{demo}.toml"


def opened(make: Callable[[], widgets.Box]) -> widgets.Box:
    """Return the page that is made; where its study cannot be used, all its problems.

    Parameters
    ----------
    make : callable
        Raises `CapexError` where the study cannot be used.
    """
    try:
        page = make()
    except CapexError as error:
        return box("capex-page", box("capex-card", words(problems_html(error))))
    told_of(page)
    # What stands now stays: the collector need not walk it while a slider moves.
    gc.freeze()
    return page
