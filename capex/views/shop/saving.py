"""Saving from the page: new versions, unsaved work kept aside and offered again, undo, download.

May import: ipywidgets, and from capex errors, study, views.
"""

from __future__ import annotations

import re
import secrets
import tomllib
from datetime import datetime
from html import escape
from typing import Final

import ipywidgets as widgets

from capex.errors import StoreError
from capex.study.saved_studies import Draft, SavedStudies, Version
from capex.study.titled import with_name
from capex.views.floor.boxes import box, words
from capex.views.floor.fields import Field, Fields, FileOut
from capex.views.shop.state import ShopState

__all__ = ["Saving"]

_OFFERED: Final = 3
_SHOP_NAME: Final = re.compile(r'^shop_name *= *("(?:[^"\\]|\\.){1,160}")', re.MULTILINE)


class Saving:
    """The part of the page that keeps what was entered.

    Parameters
    ----------
    state : ShopState
    study : str, optional
        Key of the saved study that the page shows; without one the first save makes it.
    version : int, optional
        The version of it that the page shows.
    name : str, optional
        Of the study as it is saved; else the shop's.
    """

    def __init__(
        self,
        state: ShopState,
        study: str | None = None,
        version: int | None = None,
        name: str = "",
    ) -> None:
        self._state = state
        self.study, self.version = study, version
        self.page = secrets.token_hex(8)
        self.saved_text = state.edited.text
        self.address = words()  # tells the page's script which version this now is
        self._kept = ""
        self._values = {"name": name or state.edited.study.shop_name, "note": ""}
        self._name = self._values["name"]
        self.said, self.status = words(), words()
        self.fields = Fields("Save", self._listed(), self._values, state.guarded(self._pressed))
        self.steps = Fields("Undo", self._steps(), {}, state.guarded(self._pressed))
        self.offers = words()
        self.offered: tuple[Draft, ...] = ()
        self._drafts = box("capex-shop-drafts", self.offers)

    def view(self) -> widgets.Widget:
        """Return the part, with the unsaved work of other pages offered."""
        self._offer()
        out = FileOut("Download as a file", self._file, "The study as one TOML file.")
        self._state.follow(self._follow, "revision")
        self._state.follow(self._show, "said")
        return box("capex-stack capex-shop-save", words("<span id='save'></span>"), self._drafts,
                   self.fields, box("capex-actions", out), self.said, self.address)  # fmt: skip

    def foot(self) -> widgets.Widget:
        """Return what stays in reach below: undo, redo, what was just done, and what is unsaved."""
        return box("capex-card capex-shop-foot", self.steps, self.status)

    @property
    def unsaved(self) -> bool:
        """Whether the text differs from what was saved or opened."""
        return self._state.edited.text != self.saved_text

    def _steps(self) -> list[Field]:
        edited = self._state.edited
        return [
            Field("undo", "Undo", "button", disabled=not edited.can_undo),
            Field("redo", "Redo", "button", disabled=not edited.can_redo),
        ]

    def _listed(self) -> list[Field]:
        edited = self._state.edited
        return [
            Field("name", "Name of the study"),
            Field("note", "Note to this version", hint="If you like: what you changed, and why."),
            Field("save", "Save a new version" if self.study else "Save", "button",
                  disabled=bool(edited.problems)),
        ]  # fmt: skip

    def _follow(self) -> None:
        try:
            if self._state.revision:
                self._keep()
        finally:
            self._show()

    def _show(self) -> None:
        self.fields.show(self._values, fields=self._listed())
        self.steps.show({}, fields=self._steps())
        said = escape(self._state.said)
        if self.unsaved:
            said += " <a href='#save'>Not saved yet</a>"
            if self._kept == self._state.edited.text:
                said += "<span class='capex-shop-rest'>; kept on this computer. The other pages "
                said += "show what was saved</span>."
            else:
                said += ", nor kept on this computer; it can be downloaded as a file."
            if self._state.edited.problems:
                said += " It can be saved once nothing is left to put right."
        self.status.value = f"<p class='capex-note' role='status'>{said}</p>" if said else ""

    def _keep(self) -> None:
        store, text = SavedStudies(), self._state.edited.text
        if self.unsaved:
            store.keep(self.page, text, self.study, self.version)
            self._kept = text
        else:
            store.drop(self.page)

    def _pressed(self, key: str, text: str) -> None:
        edited = self._state.edited
        if key in ("undo", "redo"):
            self._state.change(edited.undo if key == "undo" else edited.redo)
        elif key == "save":
            self.save()
        else:
            self._values[key] = text
            self.fields.show(self._values)

    def save(self) -> Version:
        """Save the text as a new version, or as a study of its own the first time.

        Raises
        ------
        CapexError
            The text has problems, the name cannot be used, or the store cannot be written.
        """
        store, text = SavedStudies(), self._state.edited.text
        note = self._values["note"].strip()
        if self.study is None:
            saved = store.add(self._values["name"], text, note)
        else:
            if self._values["name"] != self._name:
                store.rename(self.study, self._values["name"])  # refused before anything is saved
            saved = store.save(self.study, text, note, made_from=self.version)
        self._name = self._values["name"]
        self.study, self.version, self.saved_text = saved.study, saved.number, text
        store.drop(self.page)
        self._values["note"] = ""
        self.address.value = f"<span data-study='{saved.study}@{saved.number}'></span>"
        self.said.value = _saved_html(saved)
        self._show()
        return saved

    def _offer(self) -> None:
        """Offer the unsaved work of pages that were closed or broke down."""
        try:
            drafts = [each for each in SavedStudies().drafts() if each.study == self.study]
        except StoreError as error:
            self.said.value = f"<p class='capex-warn' role='alert'>{escape(str(error))}</p>"
            return
        mine = {self._state.edited.text, self.saved_text}
        self.offered = tuple(each for each in drafts if each.text not in mine)[:_OFFERED]
        self._show_offers()

    def _show_offers(self) -> None:
        buttons = []
        for k, draft in enumerate(self.offered):
            when = _time(draft.kept_at, "%H:%M:%S")
            if draft.made_from is not None:
                when += f", from version {draft.made_from}"
            buttons.append(Field(f"go_{k}", f"Go on with unsaved work of {when}", "button",
                                 hint=self._draft_name(draft)))  # fmt: skip
            buttons.append(Field(f"drop_{k}", f"Discard unsaved work of {when}", "button"))
        shown = Fields("Unsaved work", buttons, {}, self._state.guarded(self._chosen))
        self._drafts.children = (self.offers, shown) if buttons else ()
        said = "Unsaved work of a page that was closed, or is open elsewhere:"
        self.offers.value = f"<p class='capex-note'>{said}</p>" if self.offered else ""

    def _draft_name(self, draft: Draft) -> str:
        """Return what unsaved work is of: the study as it is saved, or the shop and "not saved"."""
        if draft.study is not None:
            return f"On {self._values['name']}."
        name = _SHOP_NAME.search(draft.text)
        try:
            return f"{tomllib.loads(name[0])['shop_name']}, never saved" if name else "Never saved"
        except tomllib.TOMLDecodeError:  # unsaved work may be anything
            return "Never saved"

    def _chosen(self, key: str, _text: str) -> None:
        do, _, place = key.partition("_")
        draft = self.offered[int(place)]
        if do == "go":
            self.go_on(draft)
        else:
            SavedStudies().drop(draft.page)
        self.offered = tuple(each for each in self.offered if each is not draft)
        self._show_offers()

    def go_on(self, draft: Draft) -> None:
        """Go on with unsaved work, perhaps with problems; it can be undone."""
        self._state.change(lambda: self._state.edited.replace(draft.text))
        if draft.study == self.study and draft.made_from is not None:
            self.version = draft.made_from
        self._keep()
        SavedStudies().drop(draft.page)
        self.said.value = (
            f"<p role='status'>This is the unsaved work of {_time(draft.kept_at)}.</p>"
        )

    def _file(self) -> tuple[str, str, bytes]:
        name = "".join(c if c.isalnum() else "-" for c in self._state.study.shop_name.casefold())
        text = with_name(self._state.edited.text, self._values["name"])
        return f"{name or 'study'}.toml", "application/toml", text.encode()


def _saved_html(saved: Version) -> str:
    others = ", ".join(map(str, saved.passed_over))
    said = f"Saved as version {saved.number} at {_time(saved.saved_at)}."
    if others:
        said += (
            f" Another page saved version {others} meanwhile; it is kept beside yours and holds "
            "changes that yours does not: compare them on the page of studies."
        )
    return f"<p class='{'capex-warn' if others else 'capex-note'}' role='status'>{escape(said)}</p>"


def _time(when: datetime, clock: str = "%H:%M") -> str:
    local = when.astimezone()
    same = local.date() == datetime.now().astimezone().date()
    return local.strftime(clock if same else f"%d %B %Y, {clock}")
