"""One batch: what is in it, two timelines, the gap by cause, and the pace of a stream.

May import: ipywidgets, and from capex errors, study, `shopfloor.batch` and views.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import ipywidgets as widgets

from capex.errors import InputError
from capex.shopfloor.batch.gap import batch_gap
from capex.shopfloor.batch.tasks import BatchEntry
from capex.shopfloor.batch.timeline import Sequencing, batch_timeline
from capex.study import Study
from capex.views.chart import Chart
from capex.views.floor.batch_pictures import timeline_height, timeline_picture
from capex.views.floor.boxes import Results, box, section, words
from capex.views.floor.fields import Column, Field, Fields, Grid
from capex.views.floor.gap_picture import batch_cards_html, gap_picture, ratios_html
from capex.views.floor.numbers import parse_whole
from capex.views.floor.state import FloorState

__all__ = ["BatchSection", "comparable"]

_INTRODUCTION: Final = (
    "The same orders under two choices, all there at the start, nobody interrupted: who works on "
    "what, who waits for whom, and where the gap comes from."
)
_OLD: Final = (
    "An entry above cannot be used. All below, greyed, is of the last batch that could be timed."
)
#: Most orders of a batch that is still drawn at once.
_MOST: Final = 60
_SEQUENCES: Final[tuple[tuple[Sequencing, str], ...]] = (
    ("shortest found", "Shortest found"), ("as given", "As listed"),
)  # fmt: skip


@dataclass(frozen=True)
class _Line:
    """One job type of the batch as it is entered."""

    job: str
    orders: int
    pieces: int
    laminated: bool


def comparable(study: Study) -> list[str]:
    """Return the two alternatives to begin with: the first two that are not the baseline."""
    keys = [key for key in study.alternatives if key != study.baseline] + [study.baseline]
    return (keys * 2)[:2]


class BatchSection:
    """The section of the page on one batch.

    Parameters
    ----------
    state : FloorState
    """

    def __init__(self, state: FloorState) -> None:
        self._state = state
        first, second = comparable(state.study)
        self._values = {"first": first, "second": second, "rule": "shortest found",
                        "month": "1", "repeats": "1"}  # fmt: skip
        self._messages: dict[str, str] = {}
        self._cells = _first_cells(state.study)
        self._cell_messages: dict[str, str] = {}
        self._fields = Fields("The batch", self._listed(), self._values,
                              state.guarded(self._changed))  # fmt: skip
        self._grid = Grid("Orders in the batch", state.guarded(self._filled), corner="Job type")
        self._times = Chart("Who works on what, and who waits?", height=420)
        self._gap = Chart("Where does the gap come from?", height=380)
        self._cards = words(name="capex-cards")
        self._results = Results(
            self._cards, box("capex-card", self._times), box("capex-card", self._gap)
        )

    def view(self) -> widgets.Widget:
        """Return the section."""
        self._state.follow(self._renew, "study", "units")
        return section(
            "batch", "One batch", _INTRODUCTION,
            box("capex-card capex-beside", self._grid, self._fields),
            self._results.panel,
        )  # fmt: skip

    def _listed(self) -> list[Field]:
        names = [(key, each.name) for key, each in self._state.study.alternatives.items()]
        months = int(self._state.study.money.horizon.likely)
        return [
            Field("first", "Compare", "choice", options=names),
            Field("second", "with", "choice",
                  options=[each for each in names if each[0] != self._values["first"]]),
            Field("rule", "Sequence of orders", "choice", options=_SEQUENCES,
                  hint="The shortest of up to five lists: as listed, most or least work first, "
                       "furthest along first, Johnson’s rule for two machines."),
            Field("repeats", "The batch comes", unit="times, all at the start", numeric=True),
            Field("month", "Machines as of month", unit=f"of {months}", numeric=True,
                  hint="A staged choice has other machines later."),
        ]  # fmt: skip

    def _changed(self, key: str, text: str) -> None:
        before = self._values["first"]
        self._values[key] = text
        if self._values["first"] == self._values["second"]:  # never one beside itself
            self._values["second"] = before
        self._renew()

    def _filled(self, cells: list[list[str]]) -> None:
        self._cells = cells
        self._renew()

    def _renew(self) -> None:
        """Work out what stands in the fields; keep the last good batch where that is not one."""
        self._messages, self._cell_messages = {}, {}
        places: list[int] = []
        try:
            lines, places = self._lines()
            months = int(self._state.study.money.horizon.likely)
            month = parse_whole("month", self._values["month"], 1, months)
            repeats = parse_whole("repeats", self._values["repeats"], 1, 10)
            _check_size(lines, repeats)
            self._work_out(lines, month, repeats)
        except InputError as error:
            self._blame(error, places)
            self._results.hold(_OLD)
        else:
            self._results.hold()
        self._fields.show(self._values, self._messages, self._listed())
        self._show_grid()

    def _blame(self, error: InputError, places: list[int]) -> None:
        """Put a message where the mistake is."""
        part, _, rest = error.field.partition(".")
        said = f"{error.value!r} {error.bound}"
        if part == "batch" and rest and places:
            self._cell_messages[str(places[int(rest.split(".")[0])])] = said
        elif part == "cell":
            self._cell_messages[rest] = said
        else:
            self._messages[part if part in self._values else "second"] = said

    def _lines(self) -> tuple[list[_Line], list[int]]:
        lines, places = [], []
        for row, (job, (orders, pieces, laminated)) in enumerate(
            zip(self._state.study.jobs, self._cells, strict=True)
        ):
            count = parse_whole(f"cell.{row}.0", orders or "0", 0, _MOST)
            if count:
                each = parse_whole(f"cell.{row}.1", pieces, 1, 100_000)
                lines.append(_Line(job, count, each, laminated == "yes"))
                places.append(row)
        return lines, places

    def _work_out(self, lines: list[_Line], month: int, repeats: int) -> None:
        study, look, values = self._state.study, self._state.look, self._values
        rule: Sequencing = "as given" if values["rule"] == "as given" else "shortest found"
        entries = [BatchEntry(one.job, one.laminated, one.orders, one.pieces) for one in lines]
        names = [_name(study, one) for one in lines]
        keys = values["first"], values["second"]
        first, second = (
            batch_timeline(study, key, entries, month=month, repeats=repeats, sequencing=rule)
            for key in keys
        )
        self._cards.value = batch_cards_html(first, second, names, look) + ratios_html(
            first, second, look
        )
        both = [one for one in (first, second) if one.tasks]
        if both:
            self._times.height = timeline_height(both)
            self._times.show(*timeline_picture(both, names, look))
        if len(both) == 2:
            gap = batch_gap(study, *keys, entries, month=month, repeats=repeats, sequencing=rule)
            self._gap.show(*gap_picture(gap, *keys, look))

    def _show_grid(self) -> None:
        columns = [
            Column("Orders", "4.5rem", numeric=True),
            Column("Pieces an order", "5.5rem", numeric=True),
            Column("Laminated", check=True),
        ]
        heads = [job.name for job in self._state.study.jobs.values()]
        self._grid.show(columns, heads, self._cells, self._cell_messages)


def _first_cells(study: Study) -> list[list[str]]:
    orders = ["2", "1"] + ["0"] * len(study.jobs)
    return [
        [count, f"{job.pieces_per_order.likely:.0f}", "no"]
        for count, job in zip(orders, study.jobs.values(), strict=False)
    ]


def _name(study: Study, line: _Line) -> str:
    return f"{study.jobs[line.job].name}{', laminated' if line.laminated else ''}"


def _check_size(lines: list[_Line], repeats: int) -> None:
    count = sum(one.orders for one in lines) * repeats
    if not lines:
        raise InputError("cell.0", 0, "orders: enter at least one order")
    if count > _MOST:
        raise InputError("repeats", repeats, f"makes {count} orders; at most {_MOST} are drawn")
