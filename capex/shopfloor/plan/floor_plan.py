"""The plan of a room under one alternative: where each machine stands, and what that passes.

Imports `capex.errors`, `capex.study`, `capex.shopfloor.room` and the other files of this folder.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from capex.errors import InputError
from capex.shopfloor.plan.arrangement import arrangement
from capex.shopfloor.plan.clear_way import clear_floor, free_floor
from capex.shopfloor.plan.finding import Finding
from capex.shopfloor.plan.findings import check_plan, standing_already
from capex.shopfloor.plan.fixtures import Fixtures, fixtures
from capex.shopfloor.plan.questions import open_questions
from capex.shopfloor.plan.spots import Spot, Standing, spots_by_hand, standing_machines
from capex.shopfloor.room import union_area
from capex.study import Study

__all__ = ["FloorPlan", "floor_plan"]


@dataclass(frozen=True)
class FloorPlan:
    """A room with the machines of one alternative in it.

    Parameters
    ----------
    alternative : str
        Its name, for people.
    room : Fixtures
    spots : tuple of Spot
        Every machine that ever stands there, in the order of the alternative.
    by_hand : bool
        Whether the study places them; else a place was found for each.
    findings : tuple of Finding
        What passes and fails by rule, then what only others can answer.
    clear_floor : tuple of rings
        The floor that the least way out can sweep, filled by the even-odd rule [m].
    standing : tuple of Standing
        Which machine each spot is of: its key and its entry in the alternative.
    owned : tuple of str
        Labels of the machines that the shop has already.
    """

    alternative: str
    room: Fixtures
    spots: tuple[Spot, ...]
    by_hand: bool
    findings: tuple[Finding, ...]
    clear_floor: tuple[tuple[Any, ...], ...]
    standing: tuple[Standing, ...]
    owned: tuple[str, ...] = ()

    @property
    def area(self) -> float:
        """Floor taken by the machines with their clearances, overlaps counted once [m²]."""
        return union_area([spot.envelope for spot in self.spots])


def floor_plan(study: Study, key: str) -> FloorPlan:
    """Return the plan of the study's room under an alternative, at likely values.

    Assumes that all machines that the alternative ever has stand there together, whenever they
    come and go.

    Parameters
    ----------
    study : Study
        With a room.
    key : str
        Of the alternative.

    Returns
    -------
    FloorPlan
        Placed by hand where the study says so, else by `arrangement`.

    Raises
    ------
    InputError
        No such alternative, or no room.
    NoAnswerError
        A machine finds no place; the message names it and says why.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> plan = floor_plan(study, "separate")
    >>> [spot.name for spot in plan.spots]
    ['Mid roll printer', 'Mid contour cutter', 'Roll laminator']
    >>> sorted({finding.status for finding in plan.findings})
    ['ask', 'pass']
    """
    alternative = study.alternative(key)
    if study.room is None:
        raise InputError(
            "room", None, "is missing from the study; a plan needs its walls and doors"
        )
    room = fixtures(study.room)
    standing = standing_machines(study, alternative)
    by_hand = spots_by_hand(study, key)
    spots = by_hand
    if spots is None:
        spots = arrangement(room, [(one.name, one.size) for one in standing])
    owned = tuple(one.name for one in standing if alternative.machines[one.placement].owned)
    new = [one.name for one in standing if one.name not in owned]
    free = free_floor(room, [spot.footprint for spot in spots])
    return FloorPlan(
        alternative=alternative.name,
        room=room,
        spots=spots,
        by_hand=by_hand is not None,
        findings=(
            *check_plan(room, spots, new),
            *standing_already(owned),
            *open_questions(standing),
        ),
        clear_floor=clear_floor(room, free, room.exit_access_width),
        standing=standing,
        owned=owned,
    )
