"""Forms over a study's text, made from the models: groups of fields with labels, hints, actions.

What a form shows is plain data for `views.shop.form`: its groups change when the study's parts do,
its values with every entry.

May import: from capex study, units, `views.shop.causes`, `views.shop.choices`,
`views.shop.slots` and `views.shop.study_text`.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from functools import cache
from typing import Any, Final

from pydantic import BaseModel

from capex.study.places import MONTHS, entry_at
from capex.study.quantity import Quantity
from capex.units import KINDS
from capex.views.shop.causes import cause, caused
from capex.views.shop.choices import choices, named, part_name, parts_of
from capex.views.shop.slots import CUTS, Slot, hints, introduction, labelled, slot_at, slots, spoken
from capex.views.shop.study_text import StudyText

__all__ = [
    "field",
    "field_paths",
    "form_messages",
    "form_values",
    "group_paths",
    "part_group",
    "table_group",
]

Group = dict[str, Any]

#: Not on this page: drawn on the shop floor, or beyond a form.
_LEFT_OUT: Final = {"positions"}
_ONE: Final = {
    "doors": "door",
    "panels": "electrical panel",
    "obstacles": "obstacle",
    "machines": "machine",
    "narrower_rolls": "roll",
    "resale_by_year": "year",
    "expensing": "yearly limit",
    "mid_quarter": "quarter",
    "correlations": "pair",
}
_PLAIN: Final = ("quantity", "text", "switch", "choice", "date", "number")


def part_group(
    edited: StudyText, path: str, title: str, actions: list[dict[str, Any]] | None = None
) -> Group:
    """Return the form of the part at a path, with those inside it.

    Parameters
    ----------
    edited : StudyText
    path : str
    title : str
    actions : list of dict, optional
        What can be done with the part as a whole.

    Examples
    --------
    >>> from capex.study import StudyFile, data_folder
    >>> edited = StudyText(StudyFile.read(data_folder() / "studies" / "quenlow.toml").text)
    >>> group = part_group(edited, "machines.old_cutter", "Old cutter")
    >>> group["fields"][1]["label"], [inner["title"] for inner in group["groups"]][:1]
    ('Price', ['Knife'])
    """
    slot = slot_at(path, edited.mapping)
    part = slot.part or _cut_part(edited, path)
    group: Group = {"path": path, "title": title, "note": introduction(part), "fields": [],
                    "groups": [], "actions": list(actions or [])}  # fmt: skip
    for name, inner in slots(part).items():
        if name not in _LEFT_OUT:
            _put(edited, group, f"{path}.{name}", name, inner)
    return group


def _put(edited: StudyText, group: Group, path: str, name: str, slot: Slot) -> None:
    """Put one slot of a part into its group: a field, a group inside it, or a way to add it."""
    there = edited.raw(path)
    if slot.shape in _PLAIN:
        if name != "kind" or slot.options == () or group["path"].rpartition(".")[2] != "cut":
            group["fields"].append(field(edited, path))
    elif slot.shape == "cut":
        group["groups"].append(_cut_group(edited, path, there))
    elif slot.shape == "part" and (there is not None or not slot.optional):
        remove = [_action("remove", path, f"Take out: {spoken(name).lower()}")]
        group["groups"].append(
            part_group(edited, path, spoken(name), remove if slot.optional else [])
        )
    elif slot.shape == "part":
        group["actions"].append(_action("add", path, f"Add: {spoken(name).lower()}"))
    elif slot.inner is not None and slot.inner.shape == "number":
        group["fields"].append(field(edited, path))
    elif slot.inner is not None:
        group["groups"].append(_several(edited, path, name, slot, there))


def _several(edited: StudyText, path: str, name: str, slot: Slot, there: Any) -> Group:
    """Return the group of a list, or of a table of parts or of values."""
    inner = slot.inner
    assert inner is not None
    group: Group = {"path": path, "title": spoken(name), "note": "", "fields": [], "groups": [],
                    "actions": []}  # fmt: skip
    if slot.shape == "list" and inner.shape == "quantity":
        listed = there if there is not None else slot.default
        count = len(listed) if isinstance(listed, (list, tuple)) else 0
        group["fields"] = [field(edited, f"{path}.{k}", _counted(name, k)) for k in range(count)]
        if slot.length and not count:
            group["actions"] = [_action("fill", path, "State twelve months of its own")]
        elif slot.length is None:
            group["actions"] = [_action("more", path, f"Add a {_ONE.get(name, 'value')}")]
            group["actions"] += [_action("fewer", path, "Take the last one out")] if count else []
        elif slot.optional:
            group["actions"] = [_action("remove", path, "Use the whole shop's instead")]
    elif slot.shape == "list" and inner.shape == "list":
        group["fields"] = [field(edited, f"{path}.{k}", _counted(name, k))
                           for k in range(len(there or ()))]  # fmt: skip
    elif slot.shape == "list":
        for k, each in enumerate(there or ()):
            title = named(edited, "machines", each.get("machine")) or _counted(name, k)
            place = f"{path}.{k}"
            group["groups"].append(
                part_group(edited, place, title, [_action("remove", place, f"Take out: {title}")])
            )
        of_machines = inner.part is not None and "machine" in slots(inner.part)
        group["actions"] = [
            _action("place", path, "Place a machine", parts_of(edited, "machines"))
            if of_machines
            else _action("append", path, f"Add a {_ONE.get(name, 'new entry')}")
        ]
    elif inner.shape == "quantity":
        known = edited.mapping.get("jobs", {}) if name == "bought_in" else there or {}
        group["fields"] = [field(edited, f"{path}.{key}", named(edited, "jobs", key) or key)
                           for key in known]  # fmt: skip
    else:
        return table_group(edited, path, spoken(name))
    return group


def table_group(
    edited: StudyText, path: str, title: str, actions: list[dict[str, Any]] | None = None
) -> Group:
    """Return the forms of all parts of a table, each with its copy and remove.

    Parameters
    ----------
    edited : StudyText
    path : str
        ``machines``, ``room.doors``.
    title : str
    actions : list of dict, optional
        Beside the one that adds an empty part.
    """
    one = _ONE.get(path.rpartition(".")[2], "entry")
    groups = []
    for key, table in (edited.raw(path) or {}).items():
        place = f"{path}.{key}"
        name = part_name(table, spoken(key))
        own = [_action("copy", place, f"Copy: {name}"), _action("remove", place, f"Remove: {name}")]
        groups.append(part_group(edited, place, name, own))
    shown = actions if actions is not None else [_action("new", path, f"Add a new {one}")]
    return {"path": path, "title": title, "note": "", "fields": [], "groups": groups,
            "actions": shown}  # fmt: skip


def _cut_part(edited: StudyText, path: str) -> type[BaseModel]:
    return CUTS.get(str((edited.raw(path) or {}).get("kind")), CUTS["path"])


def _cut_group(edited: StudyText, path: str, there: Any) -> Group:
    kinds = [("", "not cut along a contour"), ("path", "described by its length"),
             ("rectangle", "along the edge of the piece"), ("circle", "a circle"),
             ("artwork", "from an artwork")]  # fmt: skip
    kind = {"path": f"{path}.kind", "label": "Cut line", "kind": "choice", "hint": "",
            "options": kinds}  # fmt: skip
    if not isinstance(there, Mapping):
        return {"path": path, "title": spoken("cut"), "note": "", "fields": [kind], "groups": [],
                "actions": []}  # fmt: skip
    group = part_group(edited, path, spoken("cut"))
    group["fields"].insert(0, kind)
    return group


def field(edited: StudyText, path: str, label: str = "") -> dict[str, Any]:
    """Return one field: its place, label, kind, hint, and what can be chosen.

    Parameters
    ----------
    edited : StudyText
    path : str
    label : str, optional
        Else made from the field's name.
    """
    owner, _, name = path.rpartition(".")
    slot = slot_at(path, edited.mapping)
    said = _hint_of(owner, name, edited)
    found = {"path": path, "label": label or spoken(name), "kind": "text", "hint": said,
             "options": []}  # fmt: skip
    if slot.shape == "quantity" and slot.entry is not None:
        example = f"Written like {_example(slot, str(edited.mapping.get('currency', 'USD')))}."
        return found | {"kind": "quantity", "hint": f"{said} {example}".strip()}
    if slot.shape == "switch":
        return found | {"kind": "switch"}
    options = choices(edited, path, slot)
    if options:
        stated = str(edited.raw(path) or "")
        silent = [("", "none")] if slot.optional or not (stated or slot.default) else []
        known = {value for value, _ in options}
        other = [(stated, f"{stated} (not known)")] if stated and stated not in known else []
        return found | {"kind": "choice", "options": silent + other + options}
    if slot.shape == "date":
        return found | {"kind": "date"}
    return found


def _example(slot: Slot, currency: str) -> str:
    """Return a well-formed entry: the default where there is one, else the kind's own."""
    entry, default = slot.entry, slot.default
    assert entry is not None
    if entry.kind == "length":
        return entry.example or KINDS[entry.kind].example  # in metres and in inches
    if isinstance(default, Quantity) and default.likely:
        share = entry.kind == "fraction"
        return f"{100 * default.likely:g} %" if share else _shown(default.text)
    if entry.kind == "long_duration" and entry.at_most is not None:
        return "8 h"  # of one day
    return (entry.example or KINDS[entry.kind].example).replace("USD", currency)


def _hint_of(owner: str, name: str, edited: StudyText) -> str:
    if not owner:
        return ""
    slot = slot_at(owner, edited.mapping)
    part = slot.part or (_cut_part(edited, owner) if slot.shape == "cut" else None)
    return hints(part).get(name, "") if part is not None else ""


def _counted(name: str, place: int) -> str:
    if name == "seasonality" and place < len(MONTHS):
        return MONTHS[place]
    return f"{_ONE.get(name, 'entry').capitalize()} {place + 1}"


def _action(
    do: str, path: str, label: str, options: list[tuple[str, str]] | None = None
) -> dict[str, Any]:
    return {"do": do, "path": path, "label": label, "options": options or []}


def field_paths(groups: list[Group]) -> list[str]:
    """Return the places of all fields of a form, in its order."""
    found: list[str] = []
    for group in groups:
        found += [each["path"] for each in group["fields"]]
        found += field_paths(group["groups"])
    return found


def group_paths(groups: list[Group]) -> list[str]:
    """Return the places of all groups of a form, each before those inside it."""
    return [path for group in groups for path in (group["path"], *group_paths(group["groups"]))]


def form_values(edited: StudyText, paths: list[str]) -> dict[str, dict[str, str]]:
    """Return what each field shows: its text, and of a quantity source, ends, date and note.

    Examples
    --------
    >>> from capex.study import StudyFile, data_folder
    >>> edited = StudyText(StudyFile.read(data_folder() / "studies" / "quenlow.toml").text)
    >>> form_values(edited, ["shop.people.wage"])["shop.people.wage"]["high"]
    '28 USD/h'
    """
    return {path: _value(edited, path) for path in paths}


def _value(edited: StudyText, path: str) -> dict[str, str]:
    raw = edited.raw(path)
    of_cut = ".cut." in path
    slot = _slot_of(path, str(edited.raw(f"{path.rpartition('.')[0]}.kind")) if of_cut else "")
    if slot.shape == "switch":
        return {"text": "yes" if (slot.default if raw is None else raw) is True else "no"}
    if slot.shape != "quantity":
        return {"text": _shown(slot.default if raw is None else raw),
                "unit": _lapsed(edited, path, raw)}  # fmt: skip
    table = raw if isinstance(raw, Mapping) else {"value": raw}
    source = str(table.get("source", "entered"))
    if raw is None:
        known = _default(edited, path, slot)
        table = {"value": known.text, "note": known.note} if known is not None else {}
        source = known.source if known is not None else ""
    value = table.get("value", table.get("likely"))
    shown = {"text": _shown(value), "source": source,
             "unit": _unit(value, path, slot, str(edited.mapping.get("currency", "")))}  # fmt: skip
    return shown | {name: _shown(table.get(name)) for name in ("low", "high", "date", "note")}


def _lapsed(edited: StudyText, path: str, day: object) -> str:
    """Return beside the last day of an offer whether the plan starts after it."""
    start = edited.raw("money.start")
    ends = path.startswith("offers.") and path.endswith(".valid_until")
    if not (ends and type(day) is type(start) is date and day < start):
        return ""
    return f"before the plan starts ({start})"


def _default(edited: StudyText, path: str, slot: Slot) -> Quantity | None:
    if isinstance(slot.default, Quantity):
        return slot.default
    owner, _, name = path.rpartition(".")
    found = entry_at(slot_at(owner, edited.mapping).default, name) if name.isdecimal() else None
    return found if isinstance(found, Quantity) else None


@cache
def _slot_of(path: str, kind: str) -> Slot:
    """Return the slot at a path; of a cut path that of the kind it is of."""
    owner = path.split(".")
    mapping: Any = {"kind": kind}
    for name in reversed(owner[:-1]):
        mapping = {name: mapping}
    return slot_at(path, mapping)


def _shown(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, (list, tuple)):
        return "; ".join(map(_shown, value))
    return f"{value:.12g}" if isinstance(value, float) else str(value)


#: Factors on many inputs at once, by what they multiply.
_TIMES: Final = {
    "levers.demand": "× the demand entered", "levers.price": "× the prices entered",
    "levers.print_rate": "× the print rates entered", "levers.cut_speed": "× the speeds entered",
    "levers.machine_price": "× the prices entered",
}  # fmt: skip


def _unit(value: object, path: str, slot: Slot, currency: str) -> str:
    """Return the unit that a number without one counts in, as the page writes it behind it."""
    kind = slot.entry.kind if slot.entry is not None else ""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return ""
    if kind == "fraction":
        return f"= {value * 100:.6g} %"
    return _TIMES.get(path) or {"money": currency, "months": "months"}.get(kind, "")


def form_messages(edited: StudyText, groups: list[Group]) -> dict[str, str]:
    """Return what is wrong by place: beside a field, else at the innermost group it stands in.

    What a price has caused elsewhere stands at the price too.
    """
    fields, known = set(field_paths(groups)), set(group_paths(groups))
    found: dict[str, list[str]] = {}
    for problem in edited.problems:
        place = problem.path
        while place and place not in fields and place not in known:
            place = place.rpartition(".")[0]
        if place:
            # at a group the place inside it is said too
            inside = problem.path.removeprefix(place).strip(".")
            inside = f"{inside.replace('_', ' ').replace('.', ', ')} " if inside else ""
            said = f"{labelled(problem.bound)}{_way_out(problem.bound)}"
            found.setdefault(place, []).append(f"{inside}{said}")
        if (price := cause(edited, problem)) in fields:
            found.setdefault(price, []).append(caused(edited, problem))
    return {place: "; ".join(each) for place, each in found.items()}


def _way_out(bound: str) -> str:
    """Return what to do about a value that its own range refuses."""
    ranged = bound.startswith("must lie between low and high")
    return "; change low and high too: the button behind the value" if ranged else ""
