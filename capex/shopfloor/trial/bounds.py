"""What becomes of a fit that asks for values which cannot be: a rest below zero, a share above one.

Imports numpy, `capex.errors`, `capex.units` and, of this folder, `least_squares`, `model`,
`parameters`, `reading` and `search`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from capex.errors import NotIdentifiedError, Problem
from capex.shopfloor.trial.least_squares import Fit
from capex.shopfloor.trial.model import TrialModel
from capex.shopfloor.trial.parameters import PARAMETERS, Parameter
from capex.shopfloor.trial.reading import Reading
from capex.shopfloor.trial.search import best_fit
from capex.units import parse_number

__all__ = ["Held", "fit_within_bounds"]

#: Below this probability that chance alone asks for as much beyond a bound, the fit is refused.
_DOUBT: Final = 0.01

#: Share of a parameter's typical size by which a fit misses a bound by rounding alone.
_ROUNDING: Final = 1e-6


@dataclass(frozen=True)
class Held:
    """A parameter held at its bound, canonical unit.

    Parameters
    ----------
    parameter : Parameter
    bound : float
        Where it is held.
    asked : float
        What the readings ask for, beyond the bound.
    half_width : float
        Of the interval of that.
    standard_error : float
    """

    parameter: Parameter
    bound: float
    asked: float
    half_width: float
    standard_error: float

    @property
    def wish(self) -> str:
        """What the readings ask for, with its interval."""
        unit, size = self._unit
        ends = (self.asked, self.asked - self.half_width, self.asked + self.half_width)
        asked, low, high = (f"{end / size:.3g}" for end in ends)
        return f"the readings ask for {asked} {unit} ({low} to {high} {unit})"

    @property
    def limit(self) -> str:
        """The bound, with its unit."""
        unit, size = self._unit
        return f"{self.bound / size:.3g} {unit}"

    @property
    def _unit(self) -> tuple[str, float]:
        """Unit to show it in, and its size; what is beyond zero in rests is milliseconds."""
        unit = "ms" if self.parameter.kind == "duration" else self.parameter.unit
        size = 1e-3 if unit == "ms" else parse_number(f"1 {unit}", self.parameter.kind)
        return unit, size

    @property
    def sentence(self) -> str:
        """What was done."""
        words = self.parameter.words.capitalize()
        return (
            f"{words}: {self.wish}, which cannot be but may well be chance; it is held at "
            f"{self.limit}, and the others are fitted with that."
        )


def fit_within_bounds(
    free: Fit, model: TrialModel, readings: Sequence[Reading], trial: str, confidence: float
) -> tuple[Fit, TrialModel, dict[str, Held]]:
    """Return the best fit of values that can be, its model, and what is held at a bound in it.

    Assumes that what a parameter asks for beyond its bound by no more than chance explains is
    chance. Beyond that, the readings contradict the model, and any value would be made up.

    Parameters
    ----------
    free : Fit
        Without bounds.
    model : TrialModel
        Of that fit.
    readings : sequence of Reading
    trial : str
        Machine and work, for messages.
    confidence : float
        Of the intervals [-].

    Returns
    -------
    Fit, TrialModel, dict of str to Held

    Raises
    ------
    NotIdentifiedError
        Readings that ask for values which cannot be, beyond chance.

    Notes
    -----
    Held one at a time, that furthest beyond in standard errors first. Source `derivable`.
    """
    found = free
    held: dict[str, Held] = {}
    while True:
        beyond = _beyond(found, model, confidence)
        chance = found.half_width(1.0 - 2.0 * _DOUBT)  # both tails, of which one is beyond
        problems = [
            Problem(
                one.parameter.name,
                None,
                f"cannot be fitted: {one.wish}, and it is at "
                f"{'least' if one.asked < one.bound else 'most'} {one.limit}; look for what was "
                "not held equal and time it again, or keep the study's value",
                one.parameter.words,
            )
            for place, one in beyond.items()
            if abs(one.asked - one.bound) > chance[place]
        ]
        if problems:
            raise NotIdentifiedError(trial, problems)
        if not beyond:
            return found, model, held
        place = max(beyond, key=lambda one: abs(beyond[one].asked - beyond[one].bound)
                    / beyond[one].standard_error)  # fmt: skip
        held[model.names[place]] = beyond[place]
        model = model.holding(place, beyond[place].bound)
        found = best_fit(model, readings, trial)


def _beyond(found: Fit, model: TrialModel, confidence: float) -> dict[int, Held]:
    """Return each parameter that is beyond its bound, by its place."""
    half, error = found.half_width(confidence), found.standard_error
    beyond = {}
    for place, name in enumerate(model.names):
        one, value = PARAMETERS[name], float(found.values[place])
        bound = float(np.clip(value, one.lowest, one.highest))
        if abs(value - bound) > _ROUNDING * model.scale[place]:
            beyond[place] = Held(one, bound, value, float(half[place]), float(error[place]))
    return beyond
