"""Whether readings identify the parameters fitted to them, and what to time where they do not.

Imports numpy, `capex.errors` and, of this folder, `least_squares`, `parameters` and
`statistics`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from capex.errors import Problem
from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.trial.least_squares import COLLINEAR, Fit
from capex.shopfloor.trial.parameters import Parameter
from capex.shopfloor.trial.statistics import student_quantile

__all__ = ["WIDEST", "identification_problems"]

#: Widest half interval of a speed, acceleration or rate that is accepted, as a share of its
#: value. The figure is ours.
WIDEST: Final = 0.3

#: Share of the readings below which a parameter does not show in them at all.
_UNSEEN: Final = 1e-9

#: Share in a direction of no effect from which a parameter counts as part of it.
_PART: Final = 0.1

#: Share of the readings' sum of squares that is rounding.
_NOISE: Final = 1e-18


def identification_problems(
    fit: Fit,
    words: Sequence[Parameter],
    *,
    scale: FloatArray,
    observed: FloatArray,
    confidence: float,
    unlimited: Callable[[int], Fit],
) -> list[Problem]:
    """Return one problem for each parameter that the readings cannot identify.

    A parameter is identified where some reading depends on it, its effect cannot be had from
    others (rank of the Jacobian with columns of length 1), the readings are explained worse,
    beyond chance, where it sets no limit, and its interval is narrow enough.

    Parameters
    ----------
    fit : Fit
        Of p parameters.
    words : sequence of Parameter, length p
    scale : ndarray (p,)
        Typical size of each.
    observed : ndarray (r,)
        Readings.
    confidence : float
        [-].
    unlimited : callable
        Place of a speed or acceleration to the fit of all other parameters without any limit
        from it.

    Returns
    -------
    list of Problem
    """
    reasons = _unseen(fit, scale, observed)
    reasons = reasons or _confounded(fit, words)
    free = [place for place, one in enumerate(words) if not one.is_affine and place not in reasons]
    worse = float(student_quantile(fit.degrees, confidence)) * fit.residual_deviation
    chance = worse**2 + _NOISE * float(observed @ observed)
    for place in free:
        rest = unlimited(place)
        if rest.sum_of_squares - fit.sum_of_squares > chance:
            continue
        others = [other for other in range(len(words)) if other != place]
        # Without it the rest may well be told apart: then it alone is to blame.
        still = _confounded(rest, [words[other] for other in others])
        reasons = {others[other]: reason for other, reason in still.items()} | {
            other: reason for other, reason in reasons.items() if "apart" not in reason
        }
        reasons[place] = "the readings are explained as well without it"
    reasons = reasons or _too_wide(fit, confidence, words)
    return [
        Problem(
            words[place].name,
            None,
            f"cannot be identified: {reasons[place]}; {words[place].remedy}",
            words[place].words,
        )
        for place in sorted(reasons)
    ]


def _unseen(fit: Fit, scale: FloatArray, observed: FloatArray) -> dict[int, str]:
    size = np.maximum(np.abs(fit.values), scale)
    shares = fit.column_norm * size / float(np.linalg.norm(observed))
    return {int(place): "no reading depends on it" for place in np.flatnonzero(shares < _UNSEEN)}


def _confounded(fit: Fit, words: Sequence[Parameter]) -> dict[int, str]:
    singular, right = fit.directions
    reasons: dict[int, str] = {}
    for direction in right[singular < COLLINEAR]:
        part = np.flatnonzero(np.abs(direction) > _PART).tolist()
        for place in part:
            others = " and ".join(words[other].words for other in part if other != place)
            blame = f"cannot be told apart from {others}" if others else "no reading depends on it"
            reasons[place] = blame
    return reasons


def _too_wide(fit: Fit, confidence: float, words: Sequence[Parameter]) -> dict[int, str]:
    half = fit.half_width(confidence)
    reasons = {}
    for place, one in enumerate(words):
        value = abs(float(fit.values[place]))
        if half[place] > max(WIDEST * value, one.good_enough):
            known = half[place] < 10 * value
            share = f"± {half[place] / value:.0%}" if known else "many times"
            reasons[place] = f"the interval is {share} of its value"
    return reasons
