"""What one order of each job type takes and costs on a set of machines, both routes weighed.

The plain and the laminated route count by the share of orders that go each way; orders that are
spoiled are made again. Arrays have shape (n, j).

Imports numpy, `capex.study` and the stage files of this folder.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.mix import Mix, over_jobs
from capex.shopfloor.operations import (
    MachineSet,
    Operation,
    Operations,
    People,
    Role,
    operations,
)
from capex.study import Study

__all__ = ["COSTS", "Content", "Contents", "Cost", "can_run_overnight", "shares_of_orders"]

Cost = Literal["film", "ink", "laminate", "spoil", "heads", "blades", "power", "other"]

#: Direct costs of an order.
COSTS: Final[tuple[Cost, ...]] = (
    "film", "ink", "laminate", "spoil", "heads", "blades", "power", "other",
)  # fmt: skip
ROLES: Final[tuple[Role, ...]] = ("print", "laminate", "cut")


@dataclass(frozen=True)
class Content:
    """Work content and direct costs of an order on one set of machines.

    Parameters
    ----------
    operations : Operations
        What it is made of.
    busy : dict of role to ndarray, shape (n, j)
        Time that each machine is held [s].
    alone : ndarray, shape (n, j)
        Of the printing machine's time, what can run overnight with nobody there [s].
    attended, attended_by_day : dict of people to ndarray, shape (n, j)
        Time of people; by day only, where the work alone is done overnight [s].
    costs : dict of cost to ndarray, shape (n, j)
        [currency].
    """

    operations: Operations
    busy: dict[Role, FloatArray]
    alone: FloatArray
    attended: dict[People, FloatArray]
    attended_by_day: dict[People, FloatArray]
    costs: dict[Cost, FloatArray]


class Contents:
    """Contents by machine set, each worked out once for all alternatives of a study.

    Parameters
    ----------
    study, mix
        The shop and its job types.
    like : Contents, optional
        What it knows is taken over where the study has all that is read here in common with it.
    """

    def __init__(self, study: Study, mix: Mix, like: Contents | None = None) -> None:
        self.study = study
        self.mix = mix
        self._known: dict[MachineSet, Content] = {}
        if like is not None and all(
            one is other for one, other in zip(_read_of(study), _read_of(like.study), strict=True)
        ):
            self._known = like._known

    def on(self, machines: MachineSet) -> Content:
        """Return the content of an order of every type on a set of machines."""
        if machines not in self._known:
            self._known[machines] = _content(self.study, self.mix, machines)
        return self._known[machines]


def _read_of(study: Study) -> tuple[object, ...]:
    """Return the parts of a study that the content of an order can depend on."""
    levers = study.levers
    return (
        study.machines, study.films, study.inks, study.jobs, study.artworks, study.shop,
        levers.print_rate, levers.cut_speed, levers.laminated_share,
    )  # fmt: skip


def shares_of_orders(
    mix: Mix, done: Operations
) -> tuple[tuple[FloatArray, tuple[Operation, ...]], ...]:
    """Return the plain and the laminated route, each with its starts an order, shape (n, j)."""
    return (
        ((1.0 - mix.laminated) / (1.0 - done.spoil_plain), done.plain),
        (mix.laminated / (1.0 - done.spoil_laminated), done.laminated),
    )


def _content(study: Study, mix: Mix, machines: MachineSet) -> Content:
    done = operations(study, mix, machines)
    weighed = [(share, op) for share, route in shares_of_orders(mix, done) for op in route]
    none = np.zeros((1, len(mix.keys)))
    busy: dict[Role, FloatArray] = dict.fromkeys(ROLES, none)
    attended: dict[People, FloatArray] = {"operators": none, "finishers": none}
    by_day = dict(attended)
    alone = none
    for index, (weight, operation) in enumerate(weighed):
        stays = machines.in_one and index < len(done.plain)
        if operation.at is not None:
            busy[operation.at] = busy[operation.at] + weight * operation.busy
        people = weight * operation.attended
        attended[operation.by] = attended[operation.by] + people
        if can_run_overnight(operation, stays=stays):
            alone = alone + weight * operation.busy
        else:
            by_day[operation.by] = by_day[operation.by] + people
    return Content(done, busy, alone, attended, by_day, _costs(study, mix, machines, done, busy))


def can_run_overnight(operation: Operation, *, stays: bool) -> bool:
    """Return whether nobody is needed: to print, and to cut where the print stays put."""
    return operation.runs_alone and (operation.at == "print" or (operation.at == "cut" and stays))


def _costs(
    study: Study, mix: Mix, machines: MachineSet, done: Operations, busy: dict[Role, FloatArray]
) -> dict[Cost, FloatArray]:
    (plain, _), (laminated, _) = shares_of_orders(mix, done)
    started = plain + laminated
    film_price, laminate_price = _media_prices(study, mix)
    film = done.layout.film_area * film_price
    laminate = mix.laminated * done.layout.film_area * laminate_price
    ink, heads = _ink(study, mix, machines)
    spoiled = started - 1.0
    laminated_again = mix.laminated * done.spoil_laminated / (1.0 - done.spoil_laminated)
    power = study.shop.premises.electricity.si[:, None] * sum(
        (
            busy[role] * study.machines[key].power_active.si[:, None]
            for role, key in zip(
                ROLES, (machines.print, machines.laminate, machines.cut), strict=True
            )
            if key is not None
        ),
        np.zeros((1, 1)),
    )
    return {
        "film": film,
        "ink": ink,
        "laminate": laminate,
        "spoil": spoiled * (film + ink) + laminated_again * done.layout.film_area * laminate_price,
        "heads": started * heads,
        "blades": started * _blades(study, machines, done),
        "power": power,
        "other": mix.other_cost,
    }


def _media_prices(study: Study, mix: Mix) -> tuple[FloatArray, FloatArray]:
    """Return prices of film and of laminate for every type, waste included [currency/m²]."""
    waste = 1.0 / (1.0 - study.shop.handling.media_waste.si[:, None])
    films = [study.films.get(job.film or job.cut_material or "") for job in mix.jobs]
    laminates = [study.films.get(job.laminate or "") for job in mix.jobs]
    film = over_jobs(film.price if film else None for film in films)
    laminate = over_jobs(film.price if film else None for film in laminates)
    return film * waste, laminate * waste


def _ink(study: Study, mix: Mix, machines: MachineSet) -> tuple[FloatArray, FloatArray]:
    """Return the cost of ink and of head wear of one order."""
    none = np.zeros((1, len(mix.keys)))
    printer = study.machines[machines.print].printing if machines.print else None
    if printer is None:
        return none, none
    ink = study.inks[printer.ink]
    area = mix.printed * mix.pieces * mix.width * mix.height
    laid = area * ink.laid_down.si[:, None]
    used = laid * (1.0 + ink.cleaning_share.si[:, None])
    heads = none
    if printer.head_life is not None:
        heads = used / printer.head_life.si[:, None] * printer.head_price.si[:, None]
    return used * ink.price.si[:, None], heads


def _blades(study: Study, machines: MachineSet, done: Operations) -> FloatArray:
    knife = study.machines[machines.cut].cutting if machines.cut else None
    if knife is None or knife.blade_life is None:
        return np.zeros_like(done.cut_length)
    return done.cut_length / knife.blade_life.si[:, None] * knife.blade_price.si[:, None]
