"""How a page opens: on the study asked for, with all that is wrong with it, or with a fault.

May import: ipywidgets, and from capex errors, study, `views.arrival`, `views.cards`,
`views.floor.boxes`, `views.guard` and `views.request`.
"""

from __future__ import annotations

import gc
from collections.abc import Callable
from html import escape
from pathlib import Path

import ipywidgets as widgets

from capex.errors import CapexError
from capex.study import data_folder
from capex.views.arrival import told_of
from capex.views.cards import problems_html
from capex.views.floor.boxes import box, words
from capex.views.guard import log_path, logged
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
    """Return the page that is made; where that fails, a page that says why.

    Parameters
    ----------
    make : callable
        Raises `CapexError` where the study cannot be used: all its problems are shown. Anything
        else that it raises is a fault of capex's own, which goes into the log.
    """
    try:
        page = make()
    except CapexError as error:
        return _instead(problems_html(error))
    except Exception as fault:
        return _instead(_fault_html(logged(fault)))
    told_of(page)
    # What stands now stays: the collector need not walk it while a slider moves.
    gc.freeze()
    return page


def _instead(html: str) -> widgets.Box:
    return box("capex-page", box("capex-card", words(html)))


def _fault_html(reference: str) -> str:
    return (
        f"<div role='alert'><h1>This page cannot be shown</h1>"
        f"<p>Something went wrong inside capex (reference {escape(reference)}). Nothing that you "
        "have saved is lost, and the other pages may well open.</p></div>"
        "<ul><li>If you have just changed the study, go back to an earlier version of it: under "
        "Studies, “Its versions”; or undo the change under My shop.</li>"
        "<li>Otherwise reload this page.</li>"
        "<li>If it comes again, report the reference to whoever looks after capex for you: details "
        f"are in <code>{escape(str(log_path()))}</code>, figures of your shop may stand there."
        "</li></ul>"
    )
