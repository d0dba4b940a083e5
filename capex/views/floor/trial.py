"""Your own stopwatch: the sheet to fill in, what was read, what it says, and into the study.

May import: ipywidgets, and from capex errors, study, `shopfloor.trial` and views.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from html import escape
from typing import Final, NamedTuple, TypedDict

import ipywidgets as widgets

from capex.errors import CapexError, InputError, TrialError
from capex.shopfloor.trial.calibration import Calibration, calibration
from capex.shopfloor.trial.into_study import study_with_trial
from capex.shopfloor.trial.measurements import (
    Measurement,
    attended_shares,
    handling_times,
)
from capex.shopfloor.trial.picture import trial_pictures
from capex.shopfloor.trial.reading import Reading, Readings
from capex.shopfloor.trial.readings import parse_readings
from capex.shopfloor.trial.sheet import trial_columns, trial_sheet
from capex.shopfloor.trial.suspects import suspects
from capex.shopfloor.trial.times import modelled_times
from capex.shopfloor.trial.work import WORK
from capex.study import Study, StudyFile, data_folder
from capex.views.chart import Chart
from capex.views.floor.boxes import box, section, table_html, words
from capex.views.floor.fields import Field, Fields, FileIn, FileOut, Grid
from capex.views.floor.numbers import parse_share
from capex.views.floor.state import FloorState
from capex.views.floor.trial_pictures import (
    law_picture,
    series_of,
    series_table,
    trial_picture,
)
from capex.views.floor.trial_table import (
    ReadingSheet,
    grid_column,
    messages_by_cell,
    read_sheet,
    sheet_as_shown,
)
from capex.views.floor.trial_words import (
    answer_html,
    error_words,
    into_study_html,
    protocol_html,
)
from capex.views.request import where_written, written

__all__ = ["TrialSection"]

#: Bounds of what can be typed [%].
_BOUNDS: Final = {"share": (0.5, 50.0), "rating": (50.0, 150.0), "allowance": (0.0, 100.0)}
_INTRODUCTION: Final = (
    "Time the machines that you have, and those of a demonstration, and let the readings take the "
    "place of assumed figures. The readings below are invented, as all of the demo; upload or type "
    "your own."
)


class _Pace(TypedDict):
    """What raises a mean time of handling [-]."""

    rating: float
    allowance: float


class _Answer(NamedTuple):
    """What readings tell of a machine: the fit, or why there is none, and what that rests on."""

    rested_on: tuple[Study, tuple[Reading, ...]] | None = None
    found: Calibration | None = None
    refusal: CapexError | None = None


class TrialSection:
    """The section of the page on time trials.

    Parameters
    ----------
    state : FloorState
    """

    def __init__(self, state: FloorState) -> None:
        self._state = state
        self._texts = {"shown": "", "share": "5", "rating": "100", "allowance": "0"}
        self._shares = {"share": 0.05, "rating": 1.0, "allowance": 0.0}
        self._messages: dict[str, str] = {}
        self._answers: dict[tuple[str, str], _Answer] = {}
        self._changed_study: StudyFile | None = None
        self._handling: tuple[Measurement, ...] = ()
        self._sheet = self._first = _first_sheet(state)
        self._readings = Readings(self._sheet.name, (), (), (), ())
        self._grid = Grid("Readings", state.guarded(self._edited), corner="Row", growing=True)
        self._grid.add_class("capex-unprinted")  # far wider than paper, and it came from a file
        self._take = FileIn(
            "Upload readings (CSV or XLSX)", ".csv,.xlsx", state.guarded(self._uploaded),
            "Headings in the first row, as on the trial sheet; lines that begin with # are passed "
            "over; at most 8 MB.",
        )  # fmt: skip
        self._fields = Fields("How to read them", self._listed(), self._texts,
                              state.guarded(self._changed))  # fmt: skip
        self._picture = Chart("Do the readings fit the model?", height=320)
        self._law = Chart("What sets the time?", height=320)
        self._law_card = box("capex-card", self._law)
        self._notes, self._fitted, self._list = (words() for _ in range(3))
        self._summary = words(name="capex-tight")
        self._summary_card = box("capex-card", self._fields, self._summary)
        self._picture_card = box("capex-card", self._picture, self._fitted)
        self._put = Fields("Into the study", [_button(state)], {}, state.guarded(self._written))
        self._download = FileOut(
            "Download the study with these values", self._changed_file,
            "The study as it is, with the fitted values marked “measured” and dated.",
        )  # fmt: skip
        self._said = words()

    def view(self) -> widgets.Widget:
        """Return the section."""
        self._state.follow(self._read, "study", "units")
        sheet = FileOut(
            "Download the trial sheet", self._trial_sheet,
            "A table to print or fill in, the protocol and its cautions above it: what to run on "
            "each machine, and when the clock starts and stops. Upload it as it is.",
        )  # fmt: skip
        protocol = words(protocol_html())
        into = () if self._state.is_shipped else (self._put,)
        return section(
            "stopwatch", "Your own stopwatch", _INTRODUCTION,
            box("capex-card", protocol, box("capex-actions", sheet, self._take), self._notes,
                self._grid),
            self._summary_card,
            box("capex-columns", self._picture_card, self._law_card),
            box("capex-card", self._list, box("capex-actions", *into, self._download),
                self._said),
        )  # fmt: skip

    def _listed(self) -> list[Field]:
        names = self._state.study.machines
        timed = dict.fromkeys((one.machine, one.work) for one in self._readings.kept)
        shown = [
            (f"{machine}/{work}", f"{names[machine].name}: {work}" if machine else work)
            for machine, work in timed
        ]
        if self._texts["shown"] not in {key for key, _ in shown}:
            self._texts["shown"] = shown[0][0] if shown else ""
        return [
            Field("shown", "Show", "choice", options=shown),
            Field("share", "Wanted certainty", unit="± % of the mean", numeric=True,
                  hint="Half of the 95% interval; decides how many repeats are still needed."),
            Field("rating", "Pace of who was timed", unit="% of a steady pace", numeric=True,
                  hint="Counts on operator work only: attended time where it was written down, "
                       "else all handling but finding marks. Judged, never measured."),
            Field("allowance", "Allowance", unit="% of operator work", numeric=True,
                  hint="Rest, small delays and needs; machines need none. Raises operator work in "
                       "handling on its way into the study; 0 leaves it as timed."),
        ]  # fmt: skip

    def _edited(self, cells: list[list[str]]) -> None:
        full = tuple(tuple(row) for row in cells)
        self._sheet = replace(self._sheet, cells=full)
        self._read()

    def _uploaded(self, name: str, body: bytes) -> None:
        try:
            sheet = read_sheet(name, body)
            _parsed(sheet, self._state.study)
        except CapexError as error:
            self._take.say(error_words(error))
            return
        self._sheet = sheet
        self._read()
        self._take.say("")

    def _changed(self, key: str, text: str) -> None:
        try:
            if key == "shown":
                self._texts[key] = text
            else:
                self._shares[key] = parse_share(key, text, *_BOUNDS[key])
                self._texts[key] = text
        except InputError as error:
            self._messages[key] = f"{text!r} {error.bound}"
        else:
            self._messages.pop(key, None)
        self._draw()

    def _read(self) -> None:
        """Read the table; what no reading tells is not shown, also where another table did."""
        if self._sheet is self._first:  # nobody has touched it: it follows the page's units
            self._sheet = self._first = _first_sheet(self._state)
        notes: tuple[str, ...] = ()
        try:
            self._readings = _parsed(self._sheet, self._state.study)
        except TrialError as error:
            self._readings = Readings(self._sheet.name, (), (), (), ())
            notes = (error_words(error),)
        if not any(any(row) for row in self._sheet.cells):
            notes = ("Upload readings, or type them into the table.",)
        odd = suspects(self._readings.kept, self._state.study)
        messages = messages_by_cell(self._readings, odd, self._sheet)
        self._notes.value = _notes_html(self._readings, notes or self._readings.notes)
        columns = [grid_column(text) for text in self._sheet.headings]
        heads = [str(self._sheet.first_row + place) for place in range(len(self._sheet.cells))]
        self._grid.show(columns, heads, self._sheet.cells, messages)
        self._fit()
        self._draw()

    def _draw(self) -> None:
        look, kept = self._state.look, self._readings.kept
        self._fields.show(self._texts, self._messages, self._listed())
        table = series_table(series_of(kept), look, **self._shares)
        self._summary.value = table_html(table, "What the readings say, series by series")
        self._into_study()
        for card in (self._summary_card, self._picture_card, self._law_card):
            card.layout.display = "" if kept else "none"
        machine, _, work = self._texts["shown"].partition("/")
        mine = self._readings.of(machine, work)
        if not mine:
            return
        found = series_of(mine)
        before = None
        if WORK[work].is_calibrated:
            firsts = [one.readings[0] for one in found]
            before = modelled_times(look.study, machine, firsts)[0].tolist()
        answer = self._answers.get((machine, work), _Answer())
        calibrated = answer.found
        self._picture.height = 110 + 46 * len(found)
        self._picture.show(*trial_picture(found, calibrated, before, look))
        path = WORK[work].path.format(machine=machine)
        raised = next((one.raised for one in self._handling if one.path == path), None)
        self._fitted.value = answer_html(answer.found or answer.refusal, work, look, raised)
        laws = trial_pictures(calibrated)[1:] if calibrated is not None else ()
        self._law_card.layout.display = "" if laws else "none"
        if laws:
            self._law.show(*law_picture(laws[0], look))

    def _fit(self) -> None:
        """Work out every calibration whose readings have changed: the fit, or why there is none."""
        known, self._answers = self._answers, {}
        timed = dict.fromkeys((one.machine, one.work) for one in self._readings.kept)
        for machine, work in timed:
            if not WORK[work].is_calibrated:
                continue
            rested_on = (self._state.study, self._readings.of(machine, work))
            before = known.get((machine, work))
            if before is not None and before.rested_on == rested_on:
                self._answers[machine, work] = before
                continue
            try:
                found = calibration(self._state.study, machine, work, self._readings.kept)
            except CapexError as error:
                self._answers[machine, work] = _Answer(rested_on, refusal=error)
            else:
                self._answers[machine, work] = _Answer(rested_on, found)

    def _into_study(self) -> None:
        """Say what would go into the study, and what cannot."""
        found = [one.found for one in self._answers.values() if one.found is not None]
        kept = self._readings.kept
        self._handling = handling = handling_times(kept, **self._pace)
        self._changed_study, trouble = None, ""
        said: tuple[str, ...] = ()
        if found or handling:
            measured = (*handling, *attended_shares(kept))
            try:
                self._changed_study, said = study_with_trial(self._state.file, found, measured)
            except CapexError as error:
                trouble = str(error)
        refused = [one for one in self._answers.values() if one.refusal is not None]
        self._list.value = into_study_html(said, trouble, len(refused), self._state.is_shipped)
        self._download.disabled = self._changed_study is None
        self._put.show({}, fields=[_button(self._state, disabled=self._changed_study is None)])

    @property
    def _pace(self) -> _Pace:
        """Rating and allowance as the user set them."""
        return {"rating": self._shares["rating"], "allowance": self._shares["allowance"]}

    def _changed_file(self) -> tuple[str, str, bytes]:
        text = self._changed_study.text if self._changed_study is not None else ""
        return f"{self._state.path.stem}_measured.toml", "application/toml", text.encode()

    def _written(self, _key: str, _text: str) -> None:
        if self._changed_study is None or self._state.is_shipped:
            return
        kept = written(self._changed_study, self._state.path, "Measured by stopwatch")
        self._said.value = kept.html(
            "This page counts with it now; open the first page again to decide with it."
        )
        self._state.path = kept.path
        self._state.take(self._changed_study)

    def _trial_sheet(self) -> tuple[str, str, bytes]:
        sheet = trial_sheet(self._state.study, machines_in_use(self._state.study))
        return "trial_sheet.csv", "text/csv", sheet.csv(self._state.units).encode("utf-8-sig")


def _first_sheet(state: FloorState) -> ReadingSheet:
    """Return the demo's readings for the demo, and an empty table for a study of one's own."""
    shipped = data_folder() / "trials" / f"{state.path.stem}_trial.csv"
    if state.is_shipped and shipped.is_file():
        sheet = read_sheet(shipped.name, shipped.read_bytes())
        return sheet_as_shown(sheet, state.study, state.units)
    headings = tuple(heading for heading, _, _ in trial_columns(state.units))
    return ReadingSheet("No readings yet", headings, (("",) * len(headings),))


def _parsed(sheet: ReadingSheet, study: Study) -> Readings:
    return parse_readings(sheet.rows, study, source=sheet.name, first_row=sheet.first_row)


def machines_in_use(study: Study) -> list[str]:
    """Return the machines that some alternative has, in the order of the study."""
    used = {p.machine for choice in study.alternatives.values() for p in choice.machines}
    return [key for key in study.machines if key in used]


def _button(state: FloorState, *, disabled: bool = False) -> Field:
    return Field("put", "Put into the study", "button", disabled=disabled,
                 hint=f"{where_written(state.path)}; comments stay.")  # fmt: skip


def _notes_html(found: Readings, notes: Sequence[str]) -> str:
    bad = len({problem.path.partition(",")[0] for problem in found.problems})
    wrong = f", {bad} row{'s' if bad > 1 else ''} that cannot be used (named below)" if bad else ""
    kept, first = len(found.kept), len(found.discarded)
    said = "".join(f"<p class='capex-note'>{escape(note)}</p>" for note in notes)
    return (
        f"<p><strong>{escape(found.source)}</strong>: {kept} reading{'' if kept == 1 else 's'} "
        f"that count{'s' if kept == 1 else ''}, {first} first run{'' if first == 1 else 's'} set "
        f"aside{wrong}.</p>{said}"
    )
