"""Sheets to be filled in by hand: a time trial, the acceptance of a machine; and the room's plan.

Imports from capex shopfloor, study, units and views.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from importlib.metadata import version
from typing import Final

from capex.errors import InputError
from capex.shopfloor.plan import floor_plan
from capex.shopfloor.trial.sheet import TrialSheet
from capex.study import Machine, Quantity, Study
from capex.units import UnitSystem
from capex.views.chart import ChartTable
from capex.views.documents.paper.content import (
    Block,
    Document,
    Drawing,
    Grid,
    Letterhead,
    Paper,
    Section,
    Words,
)  # fmt: skip
from capex.views.documents.paper.drawing import for_paper
from capex.views.plan_svg import plan_svg
from capex.views.wording import CAUTIONS, input_name

__all__ = ["acceptance_sheet", "bound", "plan_sheet", "trial_paper"]

_TRIAL_HEADS: Final = (
    "Machine", "Work", "Piece", "Run", "Started", "Media still", "Time", "Attended", "Spoiled",
    "Offset 1", "Offset 2", "Offset 3", "Offset 4", "Note",
)  # fmt: skip
_TRIAL_SHARES: Final = (1.7, 0.9, 2.2, 0.5, 1.1, 1.1, 1.1, 1.0, 0.8, 0.8, 0.8, 0.8, 0.8, 2.0)
#: What a machine is bought for, by part of it; what the study states of it is to be shown.
_PROMISED: Final[dict[str, tuple[str, ...]]] = {
    "printing": ("print_width", "carriage_speed", "swath_height", "quoted_rate", "turn_time",
                 "drying_time", "nozzle_check_time"),
    "cutting": ("cut_width", "set_speed", "acceleration", "lift_time", "mark_scan_time",
                "reload_time", "spoil_direct", "spoil_reloaded", "spoil_laminated"),
    "laminating": ("laminating_width", "feed_speed", "load_time"),
}  # fmt: skip
_OF_ITSELF: Final = ("warm_up_time", "roll_change_time", "power_active", "length", "depth", "mass")
_ON_DELIVERY: Final = (
    "Nothing is damaged; serial number, accessories and documents are those of the order.",
    "Supply, earthing and disconnect were checked by a licensed electrician before switching on.",
    "Guards, interlocks and emergency stop work; exits and clearances stay free.",
    "Ventilation runs as the ink's safety data sheet and the maker ask for.",
    "Everyone who will work on it has been trained; names and date are written down.",
    "Who answers a call, within how many hours, until when it is free: in writing.",
    "Offset between print and cut at four corners of a full sheet, three sheets running.",
    "The shop's own file, at the passes sold: colour, banding and edges approved on a sheet.",
)
_BLANK: Final = "_" * 24
_FOOT: Final = (
    "capex {version}, {made_on:%d %B %Y}. The maker's instructions and local rules go first."
)


def _foot(made_on: date) -> str:
    return _FOOT.format(version=version("capex"), made_on=made_on)


def trial_paper(sheet: TrialSheet, study: Study, *, made_on: date, paper: Paper = "a4") -> Document:
    """Return the sheet of a time trial to be printed, with room to write.

    Parameters
    ----------
    sheet : TrialSheet
    study : Study
    made_on : date
    paper : {"a4", "us-letter"}
    """
    rows = [
        [
            sheet.called.get(one.machine, one.machine),
            one.work,
            one.piece if one.piece != one.work else "",
            "" if one.run is None else str(one.run),
            *[""] * 10,
        ]
        for one in sheet.rows
    ]
    explained = [
        Section(f"protocol-{k}", part.heading, [Words(list(part.lines), "list")])
        for k, part in enumerate(sheet.explained)
    ]
    return Document(
        f"Time trial: {' and '.join(sheet.machines)}",
        Letterhead(study.shop_name, (
            f"Date: {_BLANK}  Room temperature: {_BLANK}  Film and profile: {_BLANK}",)),
        made_on,
        [*explained, Section("readings", "Readings", [
            Grid("One row a run, in this order", ChartTable(_TRIAL_HEADS, rows), words=3,
                 small=True, shares=_TRIAL_SHARES, height=6.5)], new_page=True)],
        _foot(made_on), paper, ("Timed by", "Seen by"), landscape=True,
    )  # fmt: skip


def acceptance_sheet(
    study: Study, key: str, *, made_on: date, system: UnitSystem = "metric", paper: Paper = "a4"
) -> Document:
    """Return the sheet with which a machine is accepted: what was counted on, what is found.

    Parameters
    ----------
    study : Study
    key : str
        Of the machine.
    made_on : date
    system : {"metric", "us_customary"}
    paper : {"a4", "us-letter"}

    Raises
    ------
    InputError
        No such machine.
    """
    if key not in study.machines:
        known = ", ".join(study.machines)
        raise InputError("machine", key, f"must be one of: {known}")
    machine = study.machines[key]
    rows = [
        [_named(study, f"machines.{key}.{path}"), value.shown(system, study.currency), value.source,
         "", ""]
        for path, value in _promised(machine)
    ]  # fmt: skip
    return Document(
        f"Acceptance: {machine.name}",
        Letterhead(study.shop_name, (f"Serial number: {_BLANK}  Date of delivery: {_BLANK}",)),
        made_on,
        [
            Section("promised", "What the decision counted on", [
                Words(["The price is worth it if the machine does this. Measure with the shop's "
                       "own files, at the set-up that was sold; a time trial gives the speeds."]),
                Grid("Figures", ChartTable(
                    ["", "Counted on", "Source", "Found", "Accepted"], rows), height=6.0,
                     shares=(2.4, 1.0, 1.0, 1.2, 1.0)),
            ]),
            Section("delivery", "On delivery", [
                Grid("To be ticked, with initials",
                     ChartTable(["", "Yes or no", "Initials"],
                                [[line, "", ""] for line in _ON_DELIVERY]),
                     shares=(6.0, 1.0, 1.0), height=7.5),
            ]),
            Section("remarks", "What is missing, and by when it is put right", [
                Grid("To be written down", ChartTable(["What", "By whom", "By when"],
                                                      [[""] * 3] * 4),
                     shares=(4.0, 1.0, 1.0), height=8.0)]),
            Section("cautions", "Cautions", [Words(list(CAUTIONS[1:]), "list")]),
        ],
        _foot(made_on), paper, ("For the shop", "For the seller"),
    )  # fmt: skip


def bound(sheets: Sequence[Document]) -> Document:
    """Return sheets as one document, each beginning a page under its own title.

    Parameters
    ----------
    sheets : sequence of Document
        At least one; letterhead, date and paper are the first's.
    """
    first, *others = sheets
    sections = list(first.sections)
    for sheet in others:
        head = Section(f"title-{sheet.title}", sheet.title, [Words(list(sheet.letterhead.lines))],
                       new_page=True)  # fmt: skip
        sections += [head, *sheet.sections]
    return replace(first, sections=sections)


def _named(study: Study, path: str) -> str:
    name = input_name(study, path).partition(" (")[0]
    return name[:1].upper() + name[1:]


def _promised(machine: Machine) -> list[tuple[str, Quantity]]:
    found = []
    for part, fields in _PROMISED.items():
        owner = getattr(machine, part)
        if owner is not None:
            found += [(f"{part}.{name}", getattr(owner, name)) for name in fields]
    found += [(name, getattr(machine, name)) for name in _OF_ITSELF]
    return [(path, value) for path, value in found if value is not None]


def plan_sheet(
    study: Study, key: str, *, made_on: date, system: UnitSystem = "metric", paper: Paper = "a4"
) -> Document:
    """Return the plan of the room under an alternative, with every finding and who decides.

    Parameters
    ----------
    study : Study
        With a room.
    key : str
        Of the alternative.
    made_on : date
    system : {"metric", "us_customary"}
    paper : {"a4", "us-letter"}

    Raises
    ------
    InputError
        No such alternative, or no room.
    """
    plan = floor_plan(study, key)
    picture = for_paper(plan_svg(plan, system))
    marks = {"pass": "✓ passes", "ask": "? to be answered", "fail": "✗ fails"}
    rows = [
        [marks[each.status], each.rule, each.sentence(system)]
        for status in ("fail", "ask", "pass")
        for each in plan.findings
        if each.status == status
    ]
    decide: dict[str, dict[str, None]] = {}  # rules of a caution, each once, in order
    for each in plan.findings:
        decide.setdefault(each.caution, {})[each.rule] = None
    blocks: list[Block] = [
        Drawing("To scale, seen from above", picture, f"{plan.alternative} in the room.", 0.9)
    ]
    return Document(
        f"Floor plan: {plan.alternative}",
        Letterhead(study.shop_name),
        made_on,
        [
            Section("plan", "Plan", blocks),
            Section("findings", "What was checked", [
                Grid("Rules", ChartTable(["", "Rule", "Finding"], rows), words=3,
                     shares=(1.0, 1.6, 3.4))]),
            Section("decide", "Who decides", [Words(
                [f"{', '.join(rules)}: {caution}" for caution, rules in decide.items()], "list")]),
        ],
        _foot(made_on), paper,
    )  # fmt: skip
