"""Whether readings identify the parameters fitted to them, and what to time where they do not.

Imports numpy, `capex.errors` and, of this folder, `least_squares`, `parameters`, `reading` and
`statistics`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Protocol

import numpy as np

from capex.errors import NoAnswerError, Problem
from capex.shopfloor.arrays import BoolArray, FloatArray
from capex.shopfloor.trial.least_squares import COLLINEAR, Fit, least_squares_fit
from capex.shopfloor.trial.parameters import Parameter
from capex.shopfloor.trial.reading import Reading
from capex.shopfloor.trial.statistics import student_quantile

__all__ = ["WIDEST", "TimesByParameters", "identification_problems"]

#: Widest half interval of a speed, acceleration or rate that is accepted, as a share of its
#: value. The figure is ours.
WIDEST: Final = 0.3

#: Share of the readings below which a parameter does not show in them at all.
_UNSEEN: Final = 1e-9

#: Share in a direction of no effect from which a parameter counts as part of it.
_PART: Final = 0.1

#: So many times its best value, a speed or acceleration sets no limit.
_UNLIMITED: Final = 1e3


class TimesByParameters(Protocol):
    """Times of runs, shape (n, r), by parameters, shape (n, p)."""

    @property
    def scale(self) -> FloatArray:
        """Typical size of each parameter, shape (p,)."""

    def times(self, values: FloatArray, readings: Sequence[Reading]) -> FloatArray:
        """Return modelled times [s], shape (n, r)."""


def identification_problems(
    fit: Fit,
    model: TimesByParameters,
    readings: Sequence[Reading],
    *,
    confidence: float,
    words: Sequence[Parameter],
) -> list[Problem]:
    """Return one problem for each parameter that the readings cannot identify.

    In this order, the first that applies: no reading depends on it; its effect can be had from
    others (rank of the Jacobian with columns of length 1); its interval is too wide; without any
    limit from it the readings are explained as well.

    Parameters
    ----------
    fit : Fit
    model : TimesByParameters
    readings : sequence of Reading
    confidence : float
        [-].
    words : sequence of Parameter, length p

    Returns
    -------
    list of Problem
    """
    reasons = _unseen(fit, model, readings) or _confounded(fit, words)
    if not reasons:
        affine = np.array([one.is_affine for one in words])
        reasons = _too_wide(fit, confidence, words)
        reasons |= {
            place: "the readings are explained as well without it"
            for place, one in enumerate(words)
            if place not in reasons
            and not one.is_affine
            and not _limits(fit, model, readings, place, affine, confidence)
        }
    return [
        Problem(words[place].name, None, f"cannot be identified: {reasons[place]}; "
                f"{words[place].remedy}", words[place].words)
        for place in sorted(reasons)
    ]  # fmt: skip


def _unseen(fit: Fit, model: TimesByParameters, readings: Sequence[Reading]) -> dict[int, str]:
    size = np.maximum(np.abs(fit.values), model.scale)
    whole = float(np.linalg.norm([one.time for one in readings]))
    shares = fit.column_norm * size / whole
    return {int(place): "no reading depends on it" for place in np.flatnonzero(shares < _UNSEEN)}


def _confounded(fit: Fit, words: Sequence[Parameter]) -> dict[int, str]:
    singular, right = fit.directions
    reasons: dict[int, str] = {}
    for direction in right[singular < COLLINEAR]:
        part = np.flatnonzero(np.abs(direction) > _PART).tolist()
        for place in part:
            others = " and ".join(words[other].words for other in part if other != place)
            reasons[place] = f"cannot be told apart from {others}"
    return reasons


def _too_wide(fit: Fit, confidence: float, words: Sequence[Parameter]) -> dict[int, str]:
    half = fit.half_width(confidence)
    reasons = {}
    for place, one in enumerate(words):
        value = abs(float(fit.values[place]))
        if half[place] > max(WIDEST * value, one.good_enough):
            share = (
                f"± {half[place] / value:.0%}"
                if half[place] < 10 * value
                else "hundreds of per cent"
            )
            reasons[place] = f"the interval is {share} of its value"
    return reasons


def _limits(
    fit: Fit,
    model: TimesByParameters,
    readings: Sequence[Reading],
    place: int,
    affine: BoolArray,
    confidence: float,
) -> bool:
    """Return whether the fit gets worse, beyond chance, without the limit of one parameter."""
    observed = np.array([one.time for one in readings])
    others = np.delete(np.arange(fit.values.size), place)

    def without(values: FloatArray) -> FloatArray:
        whole = np.empty((len(values), fit.values.size))
        whole[:, others] = values
        whole[:, place] = fit.values[place] * _UNLIMITED
        return model.times(whole, readings)

    if others.size:
        lower = np.where(affine[others], -np.inf, 1e-9)
        try:
            rest = least_squares_fit(
                without, observed, fit.values[others], scale=model.scale[others], lower=lower
            ).sum_of_squares
        except NoAnswerError:
            return True
    else:
        rest = float(np.sum((without(np.empty((1, 0)))[0] - observed) ** 2))
    chance = float(student_quantile(fit.degrees, confidence)) ** 2 * fit.residual_deviation**2
    return rest - fit.sum_of_squares > chance + 1e-18 * float(observed @ observed)
