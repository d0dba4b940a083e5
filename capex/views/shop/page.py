"""The page on which the owner enters the own shop and argues with the verdict.

May import: ipywidgets, and from capex errors, study, views.
"""

from __future__ import annotations

import os
from html import escape
from typing import Final

import ipywidgets as widgets

from capex.study import StudyFile, data_folder
from capex.study.saved_studies import SavedStudies
from capex.views.cards import cautions_html
from capex.views.floor.boxes import box, section, words
from capex.views.floor.state import Later
from capex.views.opening import opened
from capex.views.request import PageRequest, page_request
from capex.views.shop.artwork import ArtworkPanel
from capex.views.shop.forms import table_group
from capex.views.shop.head import Head, TenInputs
from capex.views.shop.jobs_table import JobsTable
from capex.views.shop.order_book import OrderBookPanel
from capex.views.shop.saving import Saving
from capex.views.shop.sections import SECTIONS, SectionForm, name_and_currency
from capex.views.shop.state import ShopState
from capex.views.shop.study_text import StudyText

__all__ = ["ShopPage", "shop_page"]

_ORDERS: Final = "orders"
#: Sections of one table: its parts stand open under the section's own heading.
_ONE_TABLE: Final = {"machines", "alternatives", "offers", "tax_regimes", "uncertainty", "room"}


def shop_page() -> widgets.Widget:
    """Return the page for the study that was asked for, the demo where none was.

    Returns
    -------
    Widget
        The page; where the study cannot be used, all its problems.
    """
    studies = data_folder() / "studies"

    def make() -> widgets.Box:
        if os.environ.get("VOILA_PREHEAT") == "True":
            # before the visit: everything is loaded and warm
            ShopPage(PageRequest(studies / "quenlow.toml"), lambda work, done: done(work)).view()
        return ShopPage(page_request(studies)).view()

    return opened(make)


class ShopPage:
    """One study being entered.

    Parameters
    ----------
    request : PageRequest
        Which study, which version of it, which unsaved work; the demo where it names none.
    later : callable, optional
        Takes the longer work; by default each part has a thread of its own.

    Raises
    ------
    StudyError
        The study has problems.
    StoreError
        The saved studies cannot be read.
    """

    def __init__(self, request: PageRequest, later: Later | None = None) -> None:
        path = request.path or data_folder() / "studies" / "quenlow.toml"
        self.request = request
        self.state = ShopState(StudyText(StudyFile.read(path).text), later)
        name = SavedStudies().study(request.study).name if request.study else ""
        self.saving = Saving(self.state, request.study, request.version, name)
        self.head, self.ten = Head(self.state), TenInputs(self.state)
        self.named = SectionForm(self.state, "Your shop", name_and_currency, flat=True)
        self.orders = OrderBookPanel(self.state, later)
        self.jobs, self.artwork = JobsTable(self.state), ArtworkPanel(self.state)
        self.job_forms = SectionForm(
            self.state, "Job types in full",
            lambda edited: [table_group(edited, "jobs", "All that is known of each job type")],
        )  # fmt: skip
        self.forms = {
            key: SectionForm(self.state, title, groups, flat=key in _ONE_TABLE)
            for key, title, _said, groups in SECTIONS
        }

    def view(self) -> widgets.Widget:
        """Return the page."""
        head = box("capex-card", self.head.view(), self.named.form, self.saving.view(),
                   words(_contents_html()))  # fmt: skip
        ten = section("most", "What matters most", "The inputs that move the decision most, from "
                      "their low to their high value. Enter yours first.",
                      box("capex-card", self.ten.form.form))  # fmt: skip
        orders = section(_ORDERS, "Order book", "Let your own orders say what you make, how often "
                         "and when.", self.orders.view())  # fmt: skip
        jobs = section("jobs", "Job mix", "What customers order in an average month.",
                       box("capex-card", self.jobs.grid, self.job_forms.form),
                       self.artwork.view())  # fmt: skip
        rest = [
            section(key, title, said, box("capex-card", self.forms[key].form))
            for key, title, said, _groups in SECTIONS
        ]
        first = [orders, ten] if self.request.start == _ORDERS else [ten, orders]
        self._go_on()
        self.state.follow(self._show, "revision")
        self.state.follow(self.ten.show, "found")
        bar = box("capex-card capex-verdict capex-shop-bar", self.head.verdict, self.head.trouble)
        cautions = box("capex-card", words(cautions_html()))
        return box("capex-page capex-floor capex-shop-page", self.head.title, bar, head, *first,
                   jobs, *rest, cautions, self.saving.foot())  # fmt: skip

    def _show(self) -> None:
        """Show the text as it stands in every form; what stays the same is not sent again."""
        self.named.show()
        self.jobs.show()
        self.job_forms.show()
        for form in self.forms.values():
            form.show()
        self.ten.form.show()
        self.artwork.show()

    def _go_on(self) -> None:
        """Go on with the unsaved work that the address names."""
        for draft in self.saving.offered:
            if draft.page == self.request.draft:
                self.state.guarded(self.saving.go_on)(draft)


def _contents_html() -> str:
    places = [("most", "What matters most"), (_ORDERS, "Order book"), ("jobs", "Job mix")]
    places += [(key, title) for key, title, _said, _groups in SECTIONS]
    items = "".join(f"<li><a href='#{key}'>{escape(title)}</a></li>" for key, title in places)
    return f"<nav aria-label='Parts of this page'><ul class='capex-links'>{items}</ul></nav>"
