"""The ways in of a page: its address, what its widgets are told, and what is typed into forms.

An input is JSON: a list of messages, an address, or rows of cells.
"""

import json
import os
import random
import re
from collections.abc import Callable
from functools import cache
from urllib.parse import quote_from_bytes, urlencode

import ipywidgets as widgets
import numpy as np
from stress.mutations import at, bent_table, few, hostile_text, hostile_value, leaves, toml_text
from stress.surfaces import Surface, study_trees

from capex.decision.appraise import appraise
from capex.decision.verdict import verdict
from capex.errors import CapexError
from capex.study import StudyFile, data_folder
from capex.study.saved_studies import SavedStudies
from capex.views.controls import Controls
from capex.views.floor.fields import Field, Fields, FileIn, Grid
from capex.views.page_state import PageState
from capex.views.request import page_request
from capex.views.shop.sections import SectionForm
from capex.views.shop.state import ShopState
from capex.views.shop.study_text import StudyText
from capex.views.site.handlers import _done, _named
from capex.views.state import DecisionState
from capex.views.year_on.records import entries, fields_of, messages_by_cell, texts

STUDIES = data_folder() / "studies"
EXTREMES = ("0", "1", "2", "0.001", "1e-9", "1e3", "1e6", "1e9", "1e15", "0.999999", "60", "480")


class SilentError(Exception):
    """A callback failed with an error that is no refusal; the page hides it behind a reference."""


def _json(value: object) -> bytes:
    return json.dumps(value, default=str).encode()


def _watched(state: PageState) -> None:
    """Say so where a page has swallowed an error of its own."""
    if state.trouble is not None and state.trouble.reference is not None:
        raise SilentError(state.trouble.message)


# Addresses


@cache
def _saved_key() -> str:
    text = (STUDIES / "quenlow.toml").read_text(encoding="utf-8")
    return SavedStudies().add("Fuzzed", text).study


def _address_made(draws: random.Random) -> bytes:
    key = draws.choice(("KEY", "KEY@1", "KEY@2", "KEY@", "KEY@0", "KEY@999999999", "quenlow",
                        "0" * 16, "../quenlow", "quenlow.toml", "QUENLOW", "",
                        hostile_text(draws)))  # fmt: skip
    names = ("study", "draft", "start", "one", "other", "done", "page", hostile_text(draws))
    said = {
        draws.choice(names): draws.choice((key, hostile_text(draws))) for _ in range(few(draws))
    }
    said[draws.choice(("study", "study", "one"))] = key
    query = urlencode(said, errors="replace")
    if draws.random() < 0.2:
        raw = bytes(draws.randint(0, 255) for _ in range(draws.randint(1, 20)))
        query += draws.choice(("&study=", "%", "&", "=", ";", "#")) + quote_from_bytes(raw)
    action = draws.choice(("duplicate", "rename", "remove", "bring_back", "restore"))
    return _json([query, action, hostile_text(draws), hostile_text(draws)])


def _address_taken(body: bytes) -> str:
    """Take an address as a page and as the forms of the site do."""
    query, action, name, number = json.loads(body)
    key = _saved_key()
    os.environ["QUERY_STRING"] = query.replace("KEY", key).replace("\x00", "%00")
    refused: list[CapexError] = []
    ways: list[Callable[[], object]] = [
        lambda: page_request(STUDIES),
        lambda: _named(query.partition("=")[2].replace("KEY", key)) if "one" in query else None,
        lambda: _done(key, action, name, number),
    ]
    for way in ways:
        try:
            way()
        except CapexError as error:
            refused.append(error)
    if action == "remove":
        SavedStudies().bring_back(key)
    if refused:
        raise refused[0]
    return "opened"


# What is typed into the forms of My shop


@cache
def _plain_text() -> str:
    return toml_text(study_trees()[0])


@cache
def _plain_file() -> StudyFile:
    return StudyFile.parsed(_plain_text())


@cache
def _paths() -> tuple[str, ...]:
    file = _plain_file()
    more = (
        "jobs",
        "machines",
        "room",
        "offers",
        "shop.seasonality",
        "",
        "shop",
        "artworks",
        "money.tax",
    )
    return (*(path for path, _ in file.study.quantities()), *more)


def _edit(draws: random.Random) -> dict[str, object]:
    path = draws.choice(_paths())
    if draws.random() < 0.25:
        way = path.split(".")
        way[draws.randrange(len(way))] = draws.choice(
            ("0", "99", "-1", "name", "cut", "kind", "²", hostile_text(draws))
        )
        path = ".".join(way)
    if draws.random() < 0.3:
        path = draws.choice(
            ("jobs.signs", "machines.new", path.rpartition(".")[0], path.partition(".")[0])
        )
    if draws.random() < 0.65:
        part = draws.choice(
            ("value",) * 6 + ("low", "high", "source", "note", "date", "x", hostile_text(draws))
        )
        return {
            "kind": "entered",
            "path": path,
            "part": part,
            "text": hostile_text(draws),
            "ticket": 1,
        }
    do = draws.choice(
        (
            "copy",
            "remove",
            "add",
            "new",
            "catalogue",
            "place",
            "fill",
            "more",
            "fewer",
            "undo",
            "redo",
            "x",
        )
    )
    text = draws.choice(("small_roll_printer", "", "all_in_one", hostile_text(draws)))
    return {"kind": "done", "do": do, "path": path, "text": text}


def _edits_made(draws: random.Random) -> bytes:
    return _json([_edit(draws) for _ in range(few(draws, 6))])


class _Unmoved(ShopState):
    """A state that works nothing out, as that is no part of reading, and hides no error."""

    def _work_out(self) -> None:
        return

    def guarded(self, callback):
        def shown(*told: object) -> None:
            try:
                callback(*told)
            except CapexError as error:
                self.say(error)

        return shown


def _edits_taken(body: bytes) -> str:
    """Take entries and buttons as My shop does."""
    widgets.Widget.close_all()  # each page has a kernel of its own; ipywidgets keeps all for good
    state = _Unmoved(StudyText(_plain_text()))
    form = SectionForm(state, "All", lambda edited: [])
    for each in json.loads(body):
        if each.get("do") == "undo":
            state.change(state.edited.undo)
        elif each.get("do") == "redo":
            state.change(state.edited.redo)
        else:
            form.form.told(None, each, [])
    return "refused on the page" if state.trouble or state.edited.problems else "entered"


# Months of a year on


def _months_made(draws: random.Random) -> bytes:
    study = _plain_file().study
    rows = texts(study, fields_of(study, by_job=False))
    table = bent_table(draws, [list(row) for row in rows])
    width = len(fields_of(study, by_job=False))
    cells = [[*(row + [""] * width)[:width]] for row in table]
    return _json(cells)


def _months_taken(body: bytes) -> str:
    """Take the table of months into the study."""
    file = _plain_file()
    fields = fields_of(file.study, by_job=False)
    months, places = entries(json.loads(body), fields)
    choice = file.study.actuals.choice
    try:
        file.changed({"actuals": {"choice": choice, "months": months}})
    except CapexError as error:
        messages_by_cell(error, places, fields)
        raise
    return "entered"


# What widgets are told


def _message(draws: random.Random) -> object:
    value = hostile_value(draws)
    kinds = (
        "changed",
        "pressed",
        "shown",
        "cells",
        "add",
        "file",
        "typed",
        "reset",
        "wanted",
        "entered",
        "done",
    )
    said: dict[str, object] = {"kind": draws.choice((*kinds, value))}
    for name in ("key", "value", "ticket", "path", "text", "cells", "name", "part", "do"):
        if draws.random() < 0.6:
            said[name] = hostile_value(draws)
    if draws.random() < 0.7:
        said["key"] = draws.choice(("n", "choice", "go", "switch", "save", "undo", "name"))
    if draws.random() < 0.5:
        said["path"] = draws.choice(("levers.demand", "money.horizon", "shop.people.wage", "x"))
    if draws.random() < 0.5:
        said["cells"] = [[draws.choice((0, 1, -1, 10**9, True, 0.5, "0", None)), draws.choice((0,
        1, 99)),
                          hostile_value(draws)] for _ in range(draws.randint(0, 4))]  # fmt: skip
    return said if draws.random() < 0.9 else value


def _widgets_made(draws: random.Random) -> bytes:
    messages = [[draws.randrange(6), _message(draws)] for _ in range(few(draws, 8))]
    names = (
        "positions",
        "units",
        "currency",
        "dials",
        "choice",
        "cells",
        "fields",
        "values",
        "x",
        "ticket",
    )
    states = [[draws.randrange(6), {draws.choice(names): draws.choice((
        hostile_value(draws), {"levers.demand": hostile_value(draws)},
        {hostile_text(draws): 1.0}))}]
        for _ in range(few(draws, 4))]  # fmt: skip
    return _json([messages, states])


@cache
def _decision() -> tuple[DecisionState, Controls]:
    """Return controls over a state that keeps what it has: an appraisal is no part of reading."""
    study = StudyFile.parsed((STUDIES / "quenlow.toml").read_text(encoding="utf-8")).study
    state = DecisionState(study, later=lambda work: None, simulate=lambda work, done: None)
    state.change_all = lambda changes: [
        study.replaced({path: [value]})
        for path, value in changes.items()
        if "laminated" not in path
    ]  # type: ignore[method-assign]
    return state, Controls(state)


def _widgets_taken(body: bytes) -> str:
    """Take messages and states as a page does that a browser may have tampered with."""
    state, controls = _decision()
    state.trouble = None
    fields = [Field("n", "Number"), Field("choice", "Choice", "choice", options=[("a", "A")]),
              Field("go", "Go", "button"), Field("switch", "Switch", "switch")]  # fmt: skip
    grid = Grid(
        "Grid", lambda cells: [int(len(row) == 2) / (len(row) == 2) for row in cells], growing=True
    )
    grid.show([], [], [])
    edits = SectionForm(_Unmoved(StudyText(_plain_text())), "All", lambda edited: [])
    group = Fields(
        "Fields", fields, {}, lambda key, text: {"choice": {"a": 1}}.get(key, {text: 1})[text]
    )
    given = [
        group,
        grid,
        FileIn("File", ".svg", lambda name, content: None),
        controls,
        edits.form,
        controls,
    ]
    messages, states = json.loads(body)
    try:
        for place, said in messages:
            given[place]._handle_custom_msg(said, [b"x"])
        for place, said in states:
            given[place].set_state(said)
    finally:
        for each in set(given) - {controls}:
            each.close()
    _watched(state)
    return "taken"


# What a page works out of a study that was taken


def _extreme_made(draws: random.Random) -> bytes:
    """Return a study whose figures are extreme but in their own units."""
    tree = json.loads(json.dumps(study_trees()[0], default=str))
    places = [place for place in leaves(tree) if re.match(r"[\d.]", str(at(tree, place)))]
    for _ in range(few(draws, 4)):
        *way, last = draws.choice(places)
        owner = at(tree, tuple(way))
        unit = str(owner[last]).partition(" ")[2]
        owner[last] = f"{draws.choice(EXTREMES)} {unit}" if unit else float(draws.choice(EXTREMES))
    return toml_text(tree).replace('"2027-04-15"', "2027-04-15").encode()


def _extreme_taken(body: bytes) -> str:
    """Appraise the study as a page does when it opens."""
    found = appraise(StudyFile.parsed(body.decode()).study)
    if not np.isfinite(found.net_present_value).all():
        raise SilentError("a gain that is not finite")
    verdict(found)
    return "appraised"


PAGES: dict[str, Surface] = {
    "extremes": Surface(_extreme_made, _extreme_taken),
    "address": Surface(_address_made, _address_taken),
    "edits": Surface(_edits_made, _edits_taken),
    "months": Surface(_months_made, _months_taken),
    "widgets": Surface(_widgets_made, _widgets_taken),
}
