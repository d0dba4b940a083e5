"""The operations of an order on a given set of machines, timed for all job types at once.

A `MachineSet` names who prints, who laminates and who cuts; where one machine prints and cuts,
unlaminated work stays in it and laminated work leaves and comes back. Arrays have shape (n, j).

Imports numpy, `capex.study` and the stage files of this folder.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from capex.shopfloor.arrays import BoolArray, FloatArray
from capex.shopfloor.cut_paths import cut_lengths, cut_times
from capex.shopfloor.cutting import mark_scan_time
from capex.shopfloor.job_layout import job_film, job_layout
from capex.shopfloor.layout import RollLayout
from capex.shopfloor.mix import Mix, over_jobs
from capex.shopfloor.printing import print_time, print_time_at_quoted_rate
from capex.study import Knife, Machine, Quantity, Study

__all__ = ["DRY_INSIDE", "MachineSet", "Operation", "Operations", "Role", "operations"]

Role = Literal["print", "laminate", "cut"]
People = Literal["operators", "finishers"]
#: The operation in which ink dries in a machine that prints and cuts.
DRY_INSIDE: Final = "dry in the machine"


@dataclass(frozen=True)
class MachineSet:
    """Who prints, laminates and cuts: keys of machines in the study, or None.

    `in_one` says that one and the same machine prints and cuts; two of a kind are two machines.
    """

    print: str | None
    laminate: str | None
    cut: str | None
    in_one: bool


@dataclass(frozen=True)
class Operation:
    """One operation of an order.

    Parameters
    ----------
    name : str
        For people to read.
    at : {"print", "laminate", "cut"} or None
        Which machine it holds.
    busy : ndarray, shape (n, j)
        How long it holds the machine [s].
    attended : ndarray, shape (n, j)
        Of which somebody stands by, or works without a machine [s].
    by : {"operators", "finishers"}
        Who.
    wait : ndarray, shape (n, j)
        Time that passes holding nobody and nothing [s].
    runs_alone : bool
        Whether the machine can do it with nobody there.
    set_up : bool
        Whether it takes as long for a large order as for a small one.
    """

    name: str
    at: Role | None
    busy: FloatArray
    attended: FloatArray
    by: People
    wait: FloatArray
    runs_alone: bool = False
    set_up: bool = False


@dataclass(frozen=True)
class Operations:
    """Everything that one order takes on a set of machines, shape (n, j).

    Parameters
    ----------
    makeable : ndarray of bool
        Whether the set can make the type at all; elsewhere times are meaningless.
    plain, laminated : tuple of Operation
        The two routes, in order.
    layout : RollLayout
        Of one order on its film.
    cut_length : ndarray
        Knife path of an order [m].
    spoil_plain, spoil_laminated : ndarray
        Share of started orders that is spoiled on either route.
    """

    makeable: BoolArray
    plain: tuple[Operation, ...]
    laminated: tuple[Operation, ...]
    layout: RollLayout
    cut_length: FloatArray
    spoil_plain: FloatArray
    spoil_laminated: FloatArray


def operations(study: Study, mix: Mix, machines: MachineSet) -> Operations:
    """Return the operations of every job type on a set of machines."""
    printer = study.machines.get(machines.print or "")
    cutter = study.machines.get(machines.cut or "")
    laminator = study.machines.get(machines.laminate or "")
    layout, roll_fits = job_layout(study, mix, printer, laminator, cutter)
    needs_print, needs_cut = mix.printed, mix.contour_cut
    needs_lamination = (mix.laminated > 0) & mix.printed
    makeable = (
        layout.makeable
        & roll_fits
        & _strong_enough(mix, cutter)
        & (~needs_print | (printer is not None))
        & (~needs_cut | (cutter is not None))
        & (~needs_lamination | (laminator is not None))
    )
    stages = _Stages(study, mix, printer, laminator, cutter, layout)
    return Operations(
        makeable=makeable,
        plain=tuple(stages.plain(in_one_machine=machines.in_one)),
        laminated=tuple(stages.laminated()),
        layout=layout,
        cut_length=stages.cut_length,
        spoil_plain=stages.spoil(laminated=False, in_one_machine=machines.in_one),
        spoil_laminated=stages.spoil(laminated=True, in_one_machine=machines.in_one),
    )


def _strong_enough(mix: Mix, cutter: Machine | None) -> BoolArray:
    """Return whether the knife has the force that a type needs, where both are known."""
    knife = cutter.cutting if cutter is not None else None
    if knife is None or knife.force is None:
        return np.ones((1, len(mix.keys)), dtype=bool)
    needed = over_jobs(job.cut_force for job in mix.jobs)
    return np.asarray(needed <= knife.force.si[:, None])


@dataclass(frozen=True)
class _Stages:
    """Times of the single stages on one set of machines; private to `operations`."""

    study: Study
    mix: Mix
    printer: Machine | None
    laminator: Machine | None
    cutter: Machine | None
    layout: RollLayout

    @property
    def none(self) -> FloatArray:
        return np.zeros((1, len(self.mix.keys)))

    def operation(
        self,
        name: str,
        at: Role | None = None,
        busy: FloatArray | None = None,
        attended: FloatArray | None = None,
        by: People = "operators",
        wait: FloatArray | None = None,
        runs_alone: bool = False,
        set_up: bool = False,
    ) -> Operation:
        none = self.none
        return Operation(
            name,
            at,
            none if busy is None else busy,
            none if attended is None else attended,
            by,
            none if wait is None else wait,
            runs_alone,
            set_up,
        )

    def plain(self, *, in_one_machine: bool) -> list[Operation]:
        """Print, dry and cut; in one machine without unloading, else carried and loaded."""
        both = self.mix.printed & self.mix.contour_cut
        drying = both * self.drying_time
        rewinding = both * self.study.shop.handling.rewind_time.si[:, None]
        route = self.set_up_and_print()
        if in_one_machine:
            route += [
                self.operation(DRY_INSIDE, "print", drying, runs_alone=True, set_up=True),
                self.operation("rewind", "print", rewinding, runs_alone=True, set_up=True),
                self.operation(
                    "find marks", "cut", both * self.mark_time, runs_alone=True, set_up=True
                ),
                *self.load_for_cut(self.mix.contour_cut & ~self.mix.printed),
            ]
        else:
            route += [
                self.unload("unload the print", "print", both),
                self.carry(both),
                self.operation("dry", wait=drying),
                *self.load_for_cut(self.mix.contour_cut),
            ]
        return [*route, self.cut(laminated=False), *self.finish()]

    def laminated(self) -> list[Operation]:
        """Print, unload, carry, outgas, laminate, carry, load again, register and cut."""
        laminate = self.mix.printed
        loading, feeding = self.lamination_times
        return [
            *self.set_up_and_print(),
            self.unload("unload the print", "print", laminate),
            self.carry(laminate),
            self.operation("outgas", wait=laminate * self.outgassing_time),
            self.operation(
                "laminate",
                "laminate",
                laminate * (loading + feeding),
                laminate * (loading + feeding),
            ),
            self.carry(laminate & self.mix.contour_cut),
            *self.load_for_cut(self.mix.contour_cut),
            self.cut(laminated=True),
            *self.finish(still_on_the_printer=False),
        ]

    def set_up_and_print(self) -> list[Operation]:
        handling = self.study.shop.handling
        printed = self.mix.printed
        runs = handling.orders_per_run.si[:, None]
        set_up = handling.load_time.si[:, None] / runs
        route = [
            self.operation(
                "set up the order",
                attended=handling.order_set_up_time.si[:, None] + self.none,
                set_up=True,
            )
        ]
        if self.printer is None or self.printer.printing is None:
            return route
        check = self.printer.printing.nozzle_check_time.si[:, None] / runs
        film = over_jobs(job_film(self.study, job).roll_length for job in self.mix.jobs)
        changes = self.printer.roll_change_time.si[:, None] * self.layout.film_length / film
        busy = printed * self.print_time
        return [
            *route,
            self.operation("load and check", "print", printed * (set_up + check + changes),
                           printed * (set_up + check + changes), set_up=True),
            self.operation("print", "print", busy, busy * handling.printing_attended.si[:, None],
                           runs_alone=True),
        ]  # fmt: skip

    def unload(self, name: str, at: Role, which: BoolArray) -> Operation:
        time = which * self.study.shop.handling.unload_time.si[:, None]
        return self.operation(name, at, time, time, set_up=True)

    def carry(self, which: BoolArray) -> Operation:
        """Carry a print to its next station, cut into sheets where that needs it."""
        time = which * self.study.shop.handling.carry_time.si[:, None]
        return self.operation("sheet and carry", attended=time, set_up=True)

    def load_for_cut(self, which: BoolArray) -> list[Operation]:
        knife = self.knife
        if knife is None:
            return []
        reload = which * (
            knife.reload_time.si[:, None] / self.study.shop.handling.orders_per_run.si[:, None]
        )
        marks = which * self.mix.printed * self.mark_time
        return [
            self.operation("load and register", "cut", reload, reload, set_up=True),
            self.operation("find marks", "cut", marks, runs_alone=True, set_up=True),
        ]

    def cut(self, *, laminated: bool) -> Operation:
        time = self.cut_time(laminated=laminated)
        attended = time * self.study.shop.handling.cutting_attended.si[:, None]
        return self.operation("cut", "cut", time, attended, runs_alone=True)

    def finish(self, *, still_on_the_printer: bool = True) -> list[Operation]:
        done = self.study.shop.handling.unload_time.si[:, None] + self.none
        cut = self.mix.contour_cut * done
        on_printer = self.mix.printed & ~self.mix.contour_cut & still_on_the_printer
        only_printed = on_printer * done
        return [
            self.operation("take off the machine", "cut", cut, cut, set_up=True),
            self.operation(
                "take off the printer", "print", only_printed, only_printed, set_up=True
            ),
            *self.bench("weed", self.mix.weeding_time),
            *self.bench("mask, hem or trim", self.mix.finishing_time),
            *self.bench("pack", self.mix.packing_time),
        ]

    def bench(self, name: str, time: FloatArray) -> list[Operation]:
        """Bench work: by finishers where a scenario has any, else by operators."""
        theirs = self.study.shop.people.finishers.si[:, None] > 0
        if theirs.all():
            return [self.operation(name, attended=time, by="finishers")]
        if not theirs.any():
            return [self.operation(name, attended=time)]
        return [
            self.operation(name, attended=time * theirs, by="finishers"),
            self.operation(name, attended=time * ~theirs),
        ]

    @property
    def knife(self) -> Knife | None:
        return self.cutter.cutting if self.cutter is not None else None

    @property
    def drying_time(self) -> FloatArray:
        if self.printer is None or self.printer.printing is None:
            return self.none
        return self.printer.printing.drying_time.si[:, None] + self.none

    @property
    def outgassing_time(self) -> FloatArray:
        if self.printer is None or self.printer.printing is None:
            return self.none
        ink = self.study.inks[self.printer.printing.ink]
        return ink.outgassing_time.si[:, None] + self.none

    @property
    def lamination_times(self) -> tuple[FloatArray, FloatArray]:
        if self.laminator is None or self.laminator.laminating is None:
            return self.none, self.none
        part = self.laminator.laminating
        runs = self.study.shop.handling.orders_per_run.si[:, None]
        feeding = self.layout.printed_length / part.feed_speed.si[:, None]
        return part.load_time.si[:, None] / runs + self.none, feeding

    @property
    def print_time(self) -> FloatArray:
        engine = self.printer.printing if self.printer is not None else None
        if engine is None:
            return self.none
        layout, passes = self.layout, self.mix.passes
        if engine.swath_height is not None and engine.carriage_speed is not None:
            time = print_time(
                layout.printed_width,
                layout.printed_length,
                passes=passes,
                swath_height=engine.swath_height.si[:, None],
                carriage_speed=engine.carriage_speed.si[:, None],
                overrun=engine.overrun.si[:, None],
                turn_time=engine.turn_time.si[:, None],
                directions=2.0 if engine.unidirectional else 1.0,
            )
        else:
            time = print_time_at_quoted_rate(
                layout.printed_width,
                layout.printed_length,
                passes=passes,
                quoted_rate=_si(engine.quoted_rate),
                quoted_passes=_si(engine.quoted_passes),
                quoted_width=_si(engine.quoted_width),
            )
        return time / self.study.levers.print_rate.si[:, None]

    @property
    def mark_time(self) -> FloatArray:
        knife = self.knife
        if knife is None:
            return self.none
        sets = np.ceil(self.layout.printed_length / knife.mark_set_length.si[:, None] - 1e-9)
        return mark_scan_time(sets, time_per_set=knife.mark_scan_time.si[:, None])

    def cut_time(self, *, laminated: bool) -> FloatArray:
        knife = self.knife
        if knife is None:
            return self.none
        return self.mix.pieces * cut_times(self.study, self.mix, knife, laminated=laminated)

    @property
    def cut_length(self) -> FloatArray:
        return self.mix.pieces * cut_lengths(self.study, self.mix)

    def spoil(self, *, laminated: bool, in_one_machine: bool) -> FloatArray:
        """Share of started orders lost at the printer or the knife."""
        printing = self.mix.printed * self.study.shop.handling.printing_spoil.si[:, None]
        knife = self.knife
        if knife is None:
            return printing + self.none
        if laminated:
            share = knife.spoil_laminated.si[:, None]
        else:
            stays = self.mix.printed & in_one_machine
            loaded = knife.spoil_reloaded.si[:, None]
            share = np.where(stays, knife.spoil_direct.si[:, None], loaded)
        cutting = self.mix.contour_cut * share
        return 1.0 - (1.0 - printing) * (1.0 - cutting)


def _si(quantity: Quantity | None) -> FloatArray:
    return np.ones((1, 1)) if quantity is None else quantity.si[:, None]
