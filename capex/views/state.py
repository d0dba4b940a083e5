"""The state of a page: the study, what the user has changed, and the one result of both.

Every view follows this object and none follows another view. What is shown always belongs
together: a change that the path refuses leaves changes and result as they were and becomes a
`Trouble`. Where being late costs something, a change shows at once with the shares of late
orders of the last simulation, and once more when its own years have been simulated in a thread.

May import: traitlets, numpy, and from capex errors, units, study, shopfloor, decision,
`views.arrival`, `views.floor.state`, `views.guard`, `views.inputs`, `views.late_orders` and
`views.page_state`.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
import traitlets

from capex.decision.appraise import Appraisal, Lateness, appraise, held_lateness
from capex.decision.crossover import Crossover, VolumeSweep, crossovers
from capex.decision.outcome import Outcome
from capex.decision.swings import Swings, swings
from capex.decision.verdict import Verdict, verdict
from capex.errors import InputError
from capex.shopfloor.lead_time import LeadTimes, lead_times
from capex.shopfloor.year.lateness import being_late_costs
from capex.study import Study
from capex.views.arrival import once_here
from capex.views.floor import state as floor_state
from capex.views.inputs import Dial, dials
from capex.views.late_orders import LATE_ORDERS
from capex.views.page_state import PageState

__all__ = ["DecisionState", "Result", "decision_result", "leading_crossovers"]

FloatArray = npt.NDArray[np.float64]
Later = Callable[[Callable[[], None]], None]

_DEMAND: Final = "levers.demand"
#: Factors on the order volume of the study.
VOLUMES: Final = np.linspace(0.5, 2.0, 13)
#: How closely a crossover is narrowed [-]: it is read to the per cent.
_WITHIN: Final = 0.01
#: Rest after the last change before the longer work begins [s].
_REST: Final = 0.25


@dataclass(frozen=True)
class Result:
    """One result, the same for every view.

    Parameters
    ----------
    study : Study
        As entered.
    scenario : mapping of str to float
        Inputs that differ from it, canonical units.
    appraisal : Appraisal
        Scenario 0 is the one shown.
    sweep : VolumeSweep
        The same inputs at other order volumes.
    verdict : Verdict
    """

    study: Study
    scenario: Mapping[str, float]
    appraisal: Appraisal
    sweep: VolumeSweep
    verdict: Verdict

    @cached_property
    def lead_times(self) -> dict[str, LeadTimes]:
        """Lead times by alternative, worked out when first asked for."""
        return {key: _lead_times(outcome) for key, outcome in self.appraisal.outcomes.items()}

    @property
    def volume(self) -> float:
        """Factor on the order volume of the study."""
        return self.scenario.get(_DEMAND, self.study.levers.demand.likely)


def decision_result(
    study: Study,
    changes: Mapping[str, float],
    previous: Result | None = None,
    lateness: Lateness | None = None,
) -> Result:
    """Return what a study comes to with some inputs changed.

    Parameters
    ----------
    study : Study
        As entered.
    changes : mapping of str to float
        Inputs by path, canonical units.
    previous : Result, optional
        Its sweep is kept where nothing but the demand differs and being late costs nothing.
    lateness : mapping of str to ndarray, optional
        Shares of late orders to hold; else those of the changed study, simulated where being late
        costs something. The sweep holds them too.

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = decision_result(study, {"levers.demand": 1.1})
    >>> found.volume, found.sweep.gains.shape
    (1.1, (13, 4))
    """
    scenario = dict(changes)
    like = previous.appraisal if previous else None
    held = held_lateness(study, scenario) if lateness is None else lateness
    if previous is not None and held is None and _same_but_demand(previous.scenario, scenario):
        appraisal, sweep = appraise(study, scenario, like=like), previous.sweep
    else:  # scenario 0 is the one shown
        here = scenario.get(_DEMAND, study.levers.demand.likely)
        volumes = np.concatenate([[here], VOLUMES])
        batch: dict[str, npt.ArrayLike] = {**scenario, _DEMAND: volumes}
        appraisal = appraise(study, batch, like=like, lateness=held)
        sweep = VolumeSweep(VOLUMES, appraisal.net_present_value[1:])
    return Result(study, scenario, appraisal, sweep, verdict(appraisal))


def _lead_times(outcome: Outcome) -> LeadTimes:
    path = outcome.path
    choice = path.study.alternatives[outcome.key]
    return lead_times(path.study, path.mix, choice, path.routes, path.output)


def _same_but_demand(one: Mapping[str, float], other: Mapping[str, float]) -> bool:
    rest = [{path: v for path, v in each.items() if path != _DEMAND} for each in (one, other)]
    return rest[0] == rest[1]


def _alike(one: Lateness | None, other: Lateness | None) -> bool:
    if one is None or other is None:
        return one is other
    return all(np.array_equal(one[key], other[key]) for key in one)


def leading_crossovers(result: Result) -> tuple[Crossover, ...]:
    """Return where the leading alternative changes within the sweep of a result."""
    sweep = result.sweep
    leader = sweep.gains.argmax(axis=1)
    found: list[Crossover] = []
    for place in np.flatnonzero(np.diff(leader)):
        between = VolumeSweep(sweep.volumes[place : place + 2], sweep.gains[place : place + 2])
        pair = int(leader[place]), int(leader[place + 1])
        found += crossovers(
            result.study, *pair, between, result.scenario,
            within=_WITHIN, lateness=result.appraisal.lateness,
        )  # fmt: skip
    return tuple(found)


class Narrowed(NamedTuple):
    """Changes of lead, with the sweep that they belong to."""

    sweep: VolumeSweep
    crossovers: tuple[Crossover, ...]


class _AfterRest:
    """Runs work once nothing has changed for a moment; newer work takes the place of older."""

    def __init__(self, rest: float = _REST) -> None:
        self._rest = rest
        self._handle: asyncio.TimerHandle | None = None

    def __call__(self, work: Callable[[], None]) -> None:
        """Run the work later, or now where no loop runs."""
        if self._handle is not None:
            self._handle.cancel()
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            work()
        else:
            self._handle = loop.call_later(self._rest, once_here, work)


class DecisionState(PageState):
    """What the page shows and what the user has done to it.

    Parameters
    ----------
    study : Study
        As entered.
    later : callable, optional
        Takes the longer work; by default it runs when the controls have rested for 0.25 s.
    simulate : callable, optional
        Takes what simulates the years of a change; by default it runs in a thread of its own.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> state = DecisionState(read_study(data_folder() / "studies" / "quenlow.toml"))
    >>> before = state.result
    >>> state.change("levers.demand", 1.2)
    >>> state.result is before, state.changes
    (False, {'levers.demand': 1.2})
    >>> state.change("levers.demand", -1.0)
    >>> state.changes, state.trouble.field
    ({'levers.demand': 1.2}, 'levers.demand')
    """

    changes: traitlets.Dict[str, float] = traitlets.Dict()
    result = traitlets.Instance(Result)
    narrowed: traitlets.Instance[Narrowed | None] = traitlets.Instance(Narrowed, allow_none=True)
    swings: traitlets.Instance[Swings | None] = traitlets.Instance(Swings, allow_none=True)
    #: What the cost of late orders in the result is; see `capex.views.late_orders.LATE_ORDERS`.
    late_orders: traitlets.Enum[str] = traitlets.Enum(list(LATE_ORDERS), "free")

    def __init__(
        self,
        study: Study,
        later: Later | None = None,
        simulate: floor_state.Later | None = None,
    ) -> None:
        self.dials: dict[str, Dial] = {dial.path: dial for dial in dials(study)}
        self._later = later or _AfterRest()
        self._simulate = simulate or floor_state.Background()
        self._lateness: Lateness | None = None
        super().__init__(study)
        self._take({}, self._at_once({}))

    @property
    def crossovers(self) -> tuple[Crossover, ...] | None:
        """Where the lead changes; None until it is narrowed for the sweep shown."""
        known = self.narrowed
        return known.crossovers if known and known.sweep is self.result.sweep else None

    def change(self, path: str, value: float) -> None:
        """Set one input, canonical unit."""
        self.change_all({**self.changes, path: value})

    def change_all(self, changes: Mapping[str, float]) -> None:
        """Set the inputs that differ from the study; all others return to it."""
        with self._guard.watching():
            self._recompute(changes)

    def change_typed(self, path: str, text: str) -> None:
        """Set one input as it was typed; a bare number counts in the unit shown."""
        with self._guard.watching():
            value = self.dials[path].typed(text, self.study, self.currency.rate)
            try:
                self._recompute({**self.changes, path: value})
            except InputError as error:
                if error.field != path:
                    raise
                raise InputError(path, text, error.bound) from error  # as typed, in its own unit

    def reset(self, path: str | None = None) -> None:
        """Return one input to the study's value, or all."""
        kept = {} if path is None else {k: v for k, v in self.changes.items() if k != path}
        self.change_all(kept)

    def _recompute(self, changes: Mapping[str, float]) -> None:
        changed = {
            path: value
            for path, value in changes.items()
            if not np.isclose(value, self.dials[path].home, rtol=1e-9, atol=1e-12)
        }
        if changed == self.changes:
            self.trouble = None
        else:
            self._take(changed, self._at_once(changed, self.result))

    def _at_once(self, changes: dict[str, float], previous: Result | None = None) -> Result:
        """Return what a change comes to with the shares of late orders that are known."""
        known = self._lateness
        if known is None and being_late_costs(self.study):  # which no control changes
            known = {key: np.zeros((1, len(self.study.jobs), 1)) for key in self.study.alternatives}
        return decision_result(self.study, changes, previous, known)

    def _take(self, changes: dict[str, float], result: Result) -> None:
        costs = result.appraisal.lateness is not None
        with self.hold_trait_notifications():
            self.trouble = None
            self.changes = changes
            self.swings = None
            self.result = result
            self.late_orders = (
                "free" if not costs else "unknown" if self._lateness is None else "held"
            )
        if costs:
            self._simulate(lambda: decision_result(self.study, changes, result), self._settle)
        else:
            self._later(lambda: self._find_the_rest(result))

    def _settle(self, simulated: Callable[[], Result]) -> None:
        """Show the result with its own years, and what was left to be worked out on them."""
        with self._guard.watching():
            result = simulated()
            if result.scenario != self.changes:
                return
            before, self._lateness = self.result.appraisal.lateness, result.appraisal.lateness
            with self.hold_trait_notifications():
                if not _alike(before, self._lateness):
                    self.result = result
                self.late_orders = "simulated"
            shown = self.result
            self._later(lambda: self._find_the_rest(shown))

    def _find_the_rest(self, result: Result) -> None:
        if result is not self.result:
            return
        with self._guard.watching():
            if self.crossovers is None:
                self.narrowed = Narrowed(result.sweep, leading_crossovers(result))
            self.swings = swings(result.study, result.scenario, result.appraisal.lateness)

    def guarded(self, callback: Callable[..., object]) -> Callable[..., None]:
        """Return a view's callback whose failure is shown; a change that is taken hides it."""
        return self.watched(callback)
