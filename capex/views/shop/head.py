"""The head of the page: the verdict in one line, what is still a default, what is to be put right.

Every text that comes from a user is escaped here. May import: ipywidgets, and from capex decision,
study, `views.floor`, `views.shop` and `views.wording`.
"""

from __future__ import annotations

from datetime import date
from html import escape
from typing import Final

import ipywidgets as widgets

from capex.decision.swings import Swings
from capex.study.offers import lapse_words
from capex.views.floor.boxes import box, words
from capex.views.shop.choices import part_name
from capex.views.shop.forms import Group, field
from capex.views.shop.invented import invented_html
from capex.views.shop.sections import SectionForm
from capex.views.shop.slots import labelled, spoken
from capex.views.shop.state import Found, ShopState
from capex.views.shop.study_text import StudyText
from capex.views.wording import verdict_words

__all__ = ["Head", "TenInputs", "place_words"]

#: Problems that are listed; the rest are counted.
_MOST: Final = 12
_TEN: Final = 10
_TABLES: Final = {"machines", "films", "inks", "jobs", "alternatives", "offers"}


class Head:
    """The sentences at the top of the page.

    Parameters
    ----------
    state : ShopState
    """

    def __init__(self, state: ShopState) -> None:
        self._state = state
        self.title, self.verdict, self.counts, self.problems = words(), words(), words(), words()
        self.trouble = words(name="capex-trouble")

    def view(self) -> widgets.Widget:
        """Return the head; its title and its verdict stand above it."""
        self._state.follow(self._say, "found", "revision", "currency")
        self._state.follow(self._say_trouble, "trouble")
        return box("capex-stack", self.counts, self.problems)

    def _say(self) -> None:
        state = self._state
        shop = escape(state.study.shop_name, quote=True)
        self.title.value = f"<h1 data-shop='{shop}'>My shop</h1>"
        self.verdict.value = self._verdict_html()
        self.counts.value = invented_html(state.study) + _counts_html(state)
        self.problems.value = _problems_html(state) + _lapsed_html(state)

    def _verdict_html(self) -> str:
        state, found = self._state, self._state.found
        if found is None:
            return (
                "<p class='capex-shop-verdict' role='status' aria-busy='true'>Working it out…</p>"
            )
        headline = escape(_headline(found, state)).replace("−", "−&#8288;")
        note = ""
        if state.edited.problems:
            first, *rest = state.edited.problems
            more = f" (and {len(rest)} more)" if rest else ""
            said = f"{place_words(state.edited, first.path)}: {labelled(first.bound)}"
            note = f"The verdict of the last study without problems. To put right{more}: {said}."
        elif state.working:
            note = "Being worked out anew…"
        busy = " aria-busy='true'" if state.working else ""
        small = f"<p class='capex-note'>{escape(note)}</p>" if note else ""
        return f"<p class='capex-shop-verdict' role='status'{busy}>{headline}</p>{small}"

    def _say_trouble(self) -> None:
        found = self._state.trouble
        self.trouble.value = escape(found.message) if found is not None else ""


def _headline(found: Found, state: ShopState) -> str:
    return verdict_words(found.appraisal, found.verdict, state.currency)[0]


def _counts_html(state: ShopState) -> str:
    """Return how many figures rest on nobody's word."""
    sources = [quantity.source for _, quantity in state.study.quantities()]
    defaults, assumed = sources.count("default"), sources.count("assumed")
    found, top = state.found, ""
    if found is not None and found.swings.each:
        ten = min(len(found.swings.each), _TEN)
        top = f" Among the {ten} inputs that matter most, {found.swings.unproven} are unproven."
    return (
        f"<p>Still defaults: {defaults} of {len(sources)} figures; assumed: {assumed}."
        f"{escape(top)}</p>"
    )


def _problems_html(state: ShopState) -> str:
    problems = state.edited.problems
    if not problems:
        return ""
    shown = "".join(
        f"<li>{escape(place_words(state.edited, each.path))}: {escape(labelled(each.bound))}</li>"
        for each in problems[:_MOST]
    )
    rest = len(problems) - _MOST
    more = f"<li>and {rest} more</li>" if rest > 0 else ""
    many = f"{len(problems)} entries are" if len(problems) > 1 else "One entry is"
    return (
        f"<p class='capex-warn' role='status'>{many} to be put right, at the field itself:</p>"
        f"<ul class='capex-warn'>{shown}{more}</ul>"
    )


def _lapsed_html(state: ShopState) -> str:
    """Return which offers end before the plan starts; one that is chosen is among the problems."""
    edited = state.edited
    start = edited.raw("money.start")
    said = ""
    for offer in (edited.raw("offers") or {}).values():
        until = offer.get("valid_until") if isinstance(offer, dict) else None
        if not (type(until) is type(start) is date):
            continue  # a date that is none is said at its field
        lapse = lapse_words(part_name(offer), until, start)
        if lapse and not any(each.bound.startswith(lapse) for each in edited.problems):
            said += f"<li>{escape(lapse)}: no choice can count on it.</li>"
    return f"<ul class='capex-warn' role='status'>{said}</ul>" if said else ""


def place_words(edited: StudyText, path: str) -> str:
    """Return a place of the study as a person calls it.

    Examples
    --------
    >>> from capex.study import StudyFile, data_folder
    >>> edited = StudyText(StudyFile.read(data_folder() / "studies" / "quenlow.toml").text)
    >>> place_words(edited, "films.cast_film.price"), place_words(edited, "levers.growth_shift")
    ('Cast wrap film: price', 'All work: growth shift')
    >>> place_words(edited, "alternatives.staged.machines.1.month")
    'Staged: all-in-one, then a cutter: Mid contour cutter, from month'
    """
    way = path.split(".")
    if way[0] == "levers":
        return f"All work: {' '.join(way[1:]).replace('_', ' ')}"
    owner = edited.raw(".".join(way[:2])) if len(way) > 2 else None
    name = owner.get("name") if isinstance(owner, dict) else None
    first = 2 if name else min(1, len(way) - 1)
    said = [_step_words(edited, way[: k + 1]) for k in range(first, len(way))]
    inside = ", ".join(each for each in said if each)
    return f"{name}: {inside}" if name else inside.capitalize()


def _step_words(edited: StudyText, way: list[str]) -> str:
    """Return the last name of a path in words: an entry of a list by its machine, or counted."""
    name = way[-1]
    if not name.isdecimal():
        return "" if name == "machines" else spoken(name).lower()
    entry = edited.raw(".".join(way))
    machine = entry.get("machine") if isinstance(entry, dict) else None
    known = edited.raw(f"machines.{machine}.name") if machine else None
    return str(known or f"entry {int(name) + 1}")


class TenInputs:
    """The inputs that move the decision most, each to be entered where it stands.

    Parameters
    ----------
    state : ShopState
    """

    def __init__(self, state: ShopState) -> None:
        self._state = state
        self._paths: list[str] = []
        self.form = SectionForm(state, "The inputs that matter most", self._groups, flat=True,
                                doing={"sort": self._sort})  # fmt: skip

    def show(self) -> None:
        """Show the ten, in the order that they had when the page was opened."""
        if not self._paths:
            self._paths = self._now
        self.form.show()

    @property
    def _now(self) -> list[str]:
        found = self._state.found
        return [] if found is None else [each.path for each in found.swings.each[:_TEN]]

    def _sort(self) -> None:
        self._paths = self._now
        self.form.show()

    def _groups(self, edited: StudyText) -> list[Group]:
        fields = []
        turns = _turns(self._state.found)
        for path in self._paths:
            if not _there(edited, path):
                continue
            spec = field(edited, path, place_words(edited, path))
            fields.append(spec | {"hint": f"{turns.get(path, '')} {spec['hint']}".strip()})
        sort = {"do": "sort", "path": "ten", "options": [],
                "label": "Sort anew: what matters most has changed"}  # fmt: skip
        return [{"path": "ten", "title": "", "note": "", "fields": fields, "groups": [],
                 "actions": [sort] if self._now not in ([], self._paths) else []}]  # fmt: skip


def _there(edited: StudyText, path: str) -> bool:
    """Return whether the study still has the part that an input is of."""
    owner = path.split(".")[:2]
    return owner[0] not in _TABLES or edited.raw(".".join(owner)) is not None


def _turns(found: Found | None) -> dict[str, str]:
    """Return, of each input whose low or high value turns the decision, what is then best."""
    if found is None:
        return {}
    swings: Swings = found.swings
    names = {key: outcome.name for key, outcome in found.appraisal.outcomes.items()}
    said: dict[str, list[str]] = {}
    for swing, end, place in swings.flips:
        best = names[swings.keys[place]]
        said.setdefault(swing.path, []).append(f"At its {('low', 'high')[end]}: {best}.")
    return {path: " ".join(each) for path, each in said.items()}
