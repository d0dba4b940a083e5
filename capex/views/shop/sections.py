"""The sections of the page: which forms each has, and what their actions do to the text.

May import: from capex errors, study, and `views.shop`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any, Final

from capex.errors import InputError
from capex.study import data_folder
from capex.views.shop.alternatives import alternatives_group, take_over
from capex.views.shop.choices import named, part_name
from capex.views.shop.entries import new_key, new_name
from capex.views.shop.form import Form
from capex.views.shop.forms import (
    Group,
    field,
    field_paths,
    form_messages,
    form_values,
    group_paths,
    part_group,
    table_group,
)
from capex.views.shop.slots import spoken
from capex.views.shop.state import ShopState
from capex.views.shop.study_text import StudyText

__all__ = ["SECTIONS", "SectionForm", "act", "name_and_currency"]

_CATALOGUES: Final = {"machines": ("machines.toml", ""), "films": ("materials.toml", "films"),
                      "inks": ("materials.toml", "inks"),
                      "tax_regimes": ("tax_regimes.toml", "")}  # fmt: skip


@cache
def _catalogue(table: str) -> dict[str, Any]:
    name, part = _CATALOGUES[table]
    found = tomllib.loads((data_folder() / name).read_text(encoding="utf-8"))
    return dict(found[part]) if part else found


def _shipped(table: str, label: str) -> dict[str, Any]:
    """Return the action that puts a part of the shipped data into a table."""
    options = [(key, part_name(each)) for key, each in _catalogue(table).items()]
    return {"do": "catalogue", "path": table, "label": label, "options": options}


def _with_catalogue(edited: StudyText, table: str, title: str, one: str) -> Group:
    return table_group(edited, table, title, [
        _shipped(table, "Add from the catalogue"),
        {"do": "new", "path": table, "label": f"Add {one} of your own", "options": []},
    ])  # fmt: skip


def _new(path: str, label: str) -> list[dict[str, Any]]:
    return [{"do": "new", "path": path, "label": label, "options": []}]


def name_and_currency(edited: StudyText) -> list[Group]:
    """Return the form of the shop's own name, which documents carry, and of its currency."""
    fields = [field(edited, "shop_name"), field(edited, "currency")]
    return [{"path": "name", "title": "Name and currency", "note": "", "fields": fields,
             "groups": [], "actions": []}]  # fmt: skip


def _money(edited: StudyText) -> list[Group]:
    return [
        *part_group(edited, "shop", "Shop")["groups"],
        _own_fields(edited, "shop", "Planned load"),
        part_group(edited, "money", "Money"),
    ]


def _own_fields(edited: StudyText, path: str, title: str) -> Group:
    return part_group(edited, path, title) | {"groups": [], "note": ""}


def _materials(edited: StudyText) -> list[Group]:
    return [_with_catalogue(edited, "films", "Films and laminates", "a film"),
            _with_catalogue(edited, "inks", "Inks", "an ink")]  # fmt: skip


def _tax_regimes(edited: StudyText) -> list[Group]:
    copy = _shipped("tax_regimes", "Copy a published one")
    return [table_group(edited, "tax_regimes", "Tax regimes", [copy])]


def _room(edited: StudyText) -> list[Group]:
    if edited.raw("room") is not None:
        return [
            part_group(
                edited,
                "room",
                "Room",
                [{"do": "remove", "path": "room", "label": "Take the room out", "options": []}],
            )
        ]
    return [
        {
            "path": "room",
            "title": "No room is stated",
            "note": "",
            "fields": [],
            "groups": [],
            "actions": [{"do": "add", "path": "room", "label": "Add the room", "options": []}],
        }
    ]


#: Key, title, introduction and forms of each section.
SECTIONS: Final[tuple[tuple[str, str, str, Callable[[StudyText], list[Group]]], ...]] = (
    ("machines", "Machines", "Those you have and those you may buy; prices as quoted to you.",
     lambda edited: [_with_catalogue(edited, "machines", "Machines", "a machine")]),
    ("alternatives", "Alternatives", "Each choice is a list of machines: what is bought, from "
     "which month, on which offer, and what is owned, kept or sold.",
     lambda edited: [alternatives_group(edited)]),
    ("offers", "Offers", "What sellers and lenders have quoted, for cash, on a loan or on a lease.",
     lambda edited: [table_group(edited, "offers", "Offers", _new("offers", "Add an offer"))]),
    ("materials", "Films and inks", "What they cost, and the rolls they come on.", _materials),
    ("money", "Money, hours and people", "When the shop works, who works in it, and what money "
     "costs.", _money),
    ("tax_regimes", "Tax regimes of your own", "How the cost of a machine is claimed. Only needed "
     "where the published figures are not yours: a copy takes the place of the published one in "
     "this study. Which regime is used is chosen under Money, tax. Confirm with your accountant.",
     _tax_regimes),
    ("uncertainty", "What goes together", "Inputs that are high or low together, such as demand "
     "and prices: from -1, always opposite, to 1, always alike. The chances on the pages follow.",
     lambda edited: [part_group(edited, "uncertainty", "What goes together")]),
    ("room", "Room", "Its measures; the picture is on the shop floor page. Screening only: local "
     "codes and the landlord decide.", _room),
)  # fmt: skip


class SectionForm:
    """One form that follows the state.

    Parameters
    ----------
    state : ShopState
    label : str
    groups : callable
        Returns its groups for the text as it stands.
    flat : bool
        Whether its groups stand open, without a heading.
    doing : mapping of str to callable, optional
        Actions of its own that leave the text as it is.
    """

    def __init__(
        self,
        state: ShopState,
        label: str,
        groups: Callable[[StudyText], list[Group]],
        flat: bool = False,
        doing: Mapping[str, Callable[[], None]] | None = None,
    ) -> None:
        self._state, self._groups, self._doing = state, groups, dict(doing or {})
        self.form = Form(label, state.guarded(self._entered), state.guarded(self._done), flat)

    def show(self) -> None:
        """Show what holds now."""
        edited = self._state.edited
        groups = self._groups(edited)
        self.form.show(
            groups, form_values(edited, field_paths(groups)), form_messages(edited, groups)
        )

    def _entered(self, path: str, part: str, text: str) -> None:
        def step() -> None:
            if path.endswith(".cut.kind"):
                _set_cut(self._state.edited, path.removesuffix(".kind"), text)
            elif part == "value":
                self._state.edited.set(path, text)
            else:
                self._state.edited.set_part(path, part, text)

        self._state.change(step)

    def _done(self, do: str, path: str, text: str) -> None:
        if do in self._doing:
            self._doing[do]()
            return
        edited = self._state.edited
        before = {each: _called(edited, each) for each in self._places()}
        self._state.change(lambda: act(edited, do, path, text))
        after = self._places()
        added = [each for each in after if each not in before]
        gone = [each for each in before if each not in after]
        if added and do != "remove":
            self.form.reveal(added[0])
            what = "Copied as" if do == "copy" else "Added:"
            self._state.said = f"{what} “{_called(edited, added[0])}”. Undo takes it back."
        elif gone:
            name = before.get(path, before[gone[0]])  # entries of a list move up
            self._state.said = f"Taken out: “{name}”. Undo brings it back."

    def _places(self) -> list[str]:
        """Return the places of all groups of the form, then of its fields."""
        groups = self._groups(self._state.edited)
        return [*group_paths(groups), *field_paths(groups)]


def _called(edited: StudyText, path: str) -> str:
    """Return what a part is called: its name, that of its machine, or that of its place."""
    part = edited.raw(path)
    if isinstance(part, Mapping) and part.get("machine") and "name" not in part:
        return named(edited, "machines", part["machine"])
    last = path.rpartition(".")[2]
    counted = f"entry {int(last) + 1}" if last.isdecimal() else spoken(last)
    return part_name(part, counted)


def _set_cut(edited: StudyText, path: str, kind: str) -> None:
    """Give a job type another kind of cut line; its measures are to be entered."""
    first = {"artwork": {"name": "star"}}.get(kind, {})
    edited.put(path, {"kind": kind, **first} if kind else None)


def act(edited: StudyText, do: str, path: str, text: str = "") -> None:
    """Do what a button of a form says.

    Parameters
    ----------
    edited : StudyText
    do, path, text : str
        The action, the place it is about, and what was chosen for it.

    Raises
    ------
    InputError
        An unknown action, or one that cannot be done there.

    Examples
    --------
    >>> from capex.study import StudyFile, data_folder
    >>> edited = StudyText(StudyFile.read(data_folder() / "studies" / "quenlow.toml").text)
    >>> act(edited, "catalogue", "machines", "small_roll_printer")
    >>> edited.problems, "small_roll_printer" in edited.study.machines
    ((), True)
    """
    actions: dict[str, Callable[[], object]] = {
        "copy": lambda: edited.copy(path),
        "remove": lambda: edited.remove(path),
        "add": lambda: edited.add(path, {}),
        "new": lambda: _add_new(edited, path),
        "catalogue": lambda: _add_shipped(edited, path, text),
        "place": lambda: edited.append(path, {"machine": text}),
        "fill": lambda: edited.put(path, [{"value": 1, "source": "default"}] * 12),
        "more": lambda: edited.append(path, ""),
        "append": lambda: edited.append(path, {}),
        "fewer": lambda: edited.remove_last(path),
        "take_over": lambda: take_over(edited, path),
    }
    if do not in actions:
        raise InputError(path, do, "cannot be done here")
    actions[do]()


def _add_new(edited: StudyText, path: str) -> None:
    name = path.rpartition(".")[2]
    one = {"alternatives": "alternative", "jobs": "job type", "panels": "electrical panel"}
    there = edited.raw(path) or {}
    if not isinstance(there, Mapping):
        raise InputError("path", path, "is no table of parts")
    table: dict[str, Any] = {"name": new_name(f"New {one.get(name, name.rstrip('s'))}", there)}
    if path == "offers":
        first = next(iter(edited.mapping.get("machines", {})), "")
        table |= {"machine": first, "dated": edited.today}
    edited.add(f"{path}.{new_key(table['name'], there)}", table)


def _add_shipped(edited: StudyText, table: str, key: str) -> None:
    """Put a part of the catalogue into the study; a machine brings its ink along."""
    if table not in _CATALOGUES:
        raise InputError("catalogue", table, f"is not one of: {', '.join(_CATALOGUES)}")
    shipped = _catalogue(table)
    if key not in shipped:
        raise InputError(table, key, f"is not in the catalogue; known: {', '.join(shipped)}")
    part = dict(shipped[key])
    there = edited.raw(table) or {}
    new = new_key(key, there)
    if new != key:
        name = "name" if "name" in part else "title"
        part[name] = f"{part[name]} ({spoken(new.removeprefix(key)).strip()})"
    ink = part.get("printing", {}).get("ink")
    with edited.together():
        edited.add(f"{table}.{new}", part)
        if ink is not None and ink not in (edited.raw("inks") or {}):
            edited.add(f"inks.{ink}", _catalogue("inks")[ink])
