"""Why the same batch takes longer under one alternative than under another, cause by cause.

A cause is swapped by giving the machines of one alternative the parts of the other's: the study
is copied with those parts replaced and the batch timed again on the same path.

Imports `capex.errors`, `capex.study`, the operations of the shop floor, and this folder.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

from capex.errors import InputError
from capex.shopfloor.batch.tasks import BatchEntry, Cell, Task, batch_study, one_row, order_tasks
from capex.shopfloor.batch.timeline import (
    Sequencing,
    Timeline,
    batch_timeline,
    machines_of,
    scheduled,
)
from capex.shopfloor.mix import Mix, job_mix
from capex.shopfloor.operations import (
    DRY_INSIDE,
    MachineSet,
    Operation,
    Operations,
    Role,
    operations,
)
from capex.shopfloor.routes import Route
from capex.study import Knife, Machine, PrintEngine, Study

__all__ = ["CAUSES", "Cause", "Contribution", "Gap", "batch_gap"]

Cause = Literal["print engine", "knife", "marks", "handling", "drying", "overlap"]

#: Causes in the order in which they are swapped.
CAUSES: Final[tuple[Cause, ...]] = (
    "print engine", "knife", "marks", "handling", "drying", "overlap",
)  # fmt: skip

_ENGINE_FIELDS: Final[dict[Cause, tuple[str, ...]]] = {
    "print engine": (
        "print_width", "widest_roll", "swath_height", "carriage_speed", "turn_time", "overrun",
        "unidirectional", "quoted_rate", "quoted_passes", "quoted_width",
    ),
    "handling": ("nozzle_check_time",),
    "drying": ("ink", "drying_time"),
}  # fmt: skip
_KNIFE_FIELDS: Final[dict[Cause, tuple[str, ...]]] = {
    "knife": (
        "cut_width", "widest_roll", "set_speed", "acceleration", "lateral_acceleration",
        "travel_speed", "corner_angle", "corner_dwell", "laminated_speed", "lift_time", "force",
    ),
    "marks": ("mark_scan_time", "mark_set_length"),
    "handling": ("reload_time",),
}  # fmt: skip
_DRY_OUTSIDE: Final = "dry"


@dataclass(frozen=True)
class Contribution:
    """What one cause adds to the makespan on the way from one alternative to the other.

    Parameters
    ----------
    cause : Cause
    alone : float
        If it is the only one swapped [s].
    in_turn : float
        If those before it in `CAUSES` are swapped already [s].
    """

    cause: Cause
    alone: float
    in_turn: float


@dataclass(frozen=True)
class Gap:
    """The gap between two makespans, split by cause.

    Parameters
    ----------
    start, end : float
        Makespan under the first and under the second alternative [s].
    contributions : tuple of Contribution
        In the order of `CAUSES`; negative where the second is quicker.
    left_out : tuple of int
        Entries that one of the two cannot make; they are in neither makespan.
    """

    start: float
    end: float
    contributions: tuple[Contribution, ...]
    left_out: tuple[int, ...]

    @property
    def gap(self) -> float:
        """How much longer the second takes [s]."""
        return self.end - self.start

    @property
    def interaction(self) -> float:
        """What the causes do together beyond what each does alone [s]."""
        return self.gap - sum(one.alone for one in self.contributions)

    def waterfall(self, *, alone: bool = True) -> tuple[tuple[str, float], ...]:
        """Return steps that lead from the first makespan to the second, [s].

        Parameters
        ----------
        alone : bool
            Each cause by itself with the interaction as the last step; else in turn, where the
            order of the causes decides which of them gets what they only do together.

        Returns
        -------
        tuple of (str, float)
            Label and step; they sum to the gap.

        Examples
        --------
        >>> gap = Gap(10.0, 16.0, (Contribution("knife", 2.0, 2.0),
        ...                        Contribution("overlap", 3.0, 4.0)), ())
        >>> gap.waterfall()
        (('knife', 2.0), ('overlap', 3.0), ('interaction', 1.0))
        >>> gap.waterfall(alone=False)
        (('knife', 2.0), ('overlap', 4.0))
        """
        if alone:
            steps = [(str(one.cause), one.alone) for one in self.contributions]
            return (*steps, ("interaction", self.interaction))
        return tuple((str(one.cause), one.in_turn) for one in self.contributions)


def batch_gap(
    study: Study,
    start: str,
    end: str,
    entries: Sequence[BatchEntry],
    *,
    month: int = 1,
    repeats: int = 1,
    sequencing: Sequencing = "as given",
) -> Gap:
    """Return the gap between the makespans of a batch under two alternatives, by cause.

    Assumes that each order stays on the machines that `batch_timeline` gives it under either
    alternative. Print engine: swaths, speeds, width. Knife: speeds, accelerations, width, force.
    Marks: finding them. Handling: loading, unloading, rewinding, roll changes, and the laminator.
    Drying: how long, and whether in the machine; the ink with its outgassing. Overlap: which
    machines, and how many, work at once.

    Parameters
    ----------
    study, entries, month, repeats, sequencing
        As for `batch_timeline`; every mixture is sequenced in the same way.
    start, end : str
        Keys of the alternatives.

    Returns
    -------
    Gap

    Raises
    ------
    InputError
        As `batch_timeline`, or no entry that both can make.

    Examples
    --------
    >>> from capex.study.files import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> gap = batch_gap(study, "separate", "all_in_one", [BatchEntry("sticker_sets", orders=4)])
    >>> abs(sum(step for _, step in gap.waterfall()) - gap.gap) < 1e-6
    True
    """
    timelines = [batch_timeline(study, key, entries, month=month) for key in (start, end)]
    left_out = {missing.entry for timeline in timelines for missing in timeline.not_made}
    both = [entry for n, entry in enumerate(entries) if n not in left_out]
    if not both:
        raise InputError("batch", f"{start}, {end}", "must have an entry that both can make")
    first, second = (
        batch_timeline(study, key, both, month=month, repeats=repeats, sequencing=sequencing)
        for key in (start, end)
    )
    swaps = _Swaps(study, both, first, second, sequencing)
    alone = {cause: swaps.makespan({cause}) for cause in CAUSES}
    in_turn = [swaps.makespan(set(CAUSES[:count])) for count in range(len(CAUSES) + 1)]
    return Gap(
        in_turn[0],
        in_turn[-1],
        tuple(
            Contribution(cause, alone[cause] - in_turn[0], in_turn[n + 1] - in_turn[n])
            for n, cause in enumerate(CAUSES)
        ),
        tuple(sorted(left_out)),
    )


class _Swaps:
    """Makespans of the batch with some causes taken from the second alternative."""

    def __init__(
        self,
        study: Study,
        entries: Sequence[BatchEntry],
        first: Timeline,
        second: Timeline,
        sequencing: Sequencing,
    ) -> None:
        self.study = batch_study(study, entries)
        self.mix: Mix = job_mix(self.study)
        self.entries = entries
        self.sides = (first, second)
        self.sequencing: Sequencing = sequencing

    def makespan(self, swapped: Collection[Cause]) -> float:
        """Return the makespan of a mixture [s]."""
        stations = self.sides["overlap" in swapped]
        known: dict[tuple[Route, Route], tuple[Task, ...]] = {}
        orders = []
        pairs = zip(self.sides[0].routes, self.sides[1].routes, strict=True)
        for pair, entry, route in zip(pairs, self.sides[0].entry_of, stations.routes, strict=True):
            if pair not in known:
                known[pair] = self._tasks(
                    pair, swapped, entry, machines_of(route, stations.cell), stations.cell
                )
            orders.append(known[pair])
        _, _, placed = scheduled(stations.cell, orders, self.sequencing)
        return max(task.finish for task in placed)

    def _tasks(
        self,
        pair: tuple[Route, Route],
        swapped: Collection[Cause],
        entry: int,
        machines: dict[Role, int | None],
        cell: Cell,
    ) -> tuple[Task, ...]:
        sets = [
            [self._machine(side, place) for place in (route.print, route.laminate, route.cut)]
            for side, route in zip(self.sides, pair, strict=True)
        ]
        printer = _mixed_machine(sets[0][0], sets[1][0], swapped)
        laminator = sets["handling" in swapped][1]
        cutter = _mixed_machine(sets[0][2], sets[1][2], swapped)
        named = {"print": printer, "laminate": laminator, "cut": cutter}
        there = {key: machine for key, machine in named.items() if machine is not None}
        in_one = [route.print is not None and route.print == route.cut for route in pair]
        machine_set = MachineSet(
            print="print" if printer else None,
            laminate="laminate" if laminator else None,
            cut="cut" if cutter else None,
            in_one=in_one["handling" in swapped],
        )
        done = operations(
            self.study.model_copy(update={"machines": there}),
            self.mix,
            machine_set,
        )
        if not one_row("makeable", done.makeable)[entry]:
            name = self.mix.jobs[entry].name
            raise InputError("batch", name, "cannot be made on a mixture of the two alternatives")
        route = self._route(done, entry, inside=in_one["drying" in swapped])
        return order_tasks(route, entry, machines, cell)

    def _machine(self, side: Timeline, place: int | None) -> Machine | None:
        if place is None:
            return None
        placements = self.study.alternatives[side.alternative].machines
        return self.study.machines[placements[place].machine]

    def _route(self, done: Operations, entry: int, *, inside: bool) -> list[Operation]:
        """Return the route of an entry, drying in the machine or beside it."""
        if self.entries[entry].laminated:
            return list(done.laminated)
        return [_dried(operation, inside=inside) for operation in done.plain]


def _dried(operation: Operation, *, inside: bool) -> Operation:
    if operation.name == _DRY_OUTSIDE and inside:
        none = operation.wait * 0.0
        return replace(operation, name=DRY_INSIDE, at="print", busy=operation.wait, wait=none)
    if operation.name == DRY_INSIDE and not inside:
        none = operation.busy * 0.0
        return replace(operation, name=_DRY_OUTSIDE, at=None, busy=none, wait=operation.busy)
    return operation


def _mixed_machine(
    first: Machine | None, second: Machine | None, swapped: Collection[Cause]
) -> Machine | None:
    """Return a machine of the first alternative with the swapped parts of the second's."""
    if first is None or second is None:
        return None
    parts: dict[str, Any] = {}
    if "handling" in swapped:
        parts["roll_change_time"] = second.roll_change_time
    if first.printing is not None and second.printing is not None:
        parts["printing"] = _mixed_part(first.printing, second.printing, _ENGINE_FIELDS, swapped)
    if first.cutting is not None and second.cutting is not None:
        parts["cutting"] = _mixed_part(first.cutting, second.cutting, _KNIFE_FIELDS, swapped)
    return first.model_copy(update=parts)


def _mixed_part(
    first: PrintEngine | Knife,
    second: PrintEngine | Knife,
    fields: dict[Cause, tuple[str, ...]],
    swapped: Collection[Cause],
) -> PrintEngine | Knife:
    names = [name for cause in CAUSES if cause in swapped for name in fields.get(cause, ())]
    return first.model_copy(update={name: getattr(second, name) for name in names})
