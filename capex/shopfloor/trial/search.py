"""The search for the parameters that fit readings best, from several starts.

Imports numpy, `capex.errors` and, of this folder, `least_squares`, `model`, `parameters` and
`reading`.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from itertools import product
from typing import Final

import numpy as np

from capex.errors import NoAnswerError, NotIdentifiedError, Problem
from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.trial.least_squares import Fit, least_squares_fit
from capex.shopfloor.trial.model import TrialModel
from capex.shopfloor.trial.parameters import PARAMETERS
from capex.shopfloor.trial.reading import Reading

__all__ = ["best_fit"]

#: A start is sought from a tenth to ten times the study's value.
_GRID: Final = np.logspace(-1.0, 1.0, 25)

#: So many starts are followed: where a line just reaches the set speed, the way downhill ends.
_STARTS: Final = 4


def best_fit(model: TrialModel, readings: Sequence[Reading], trial: str) -> Fit:
    """Return the best fit from several starts, free of bounds but that speeds are positive.

    Parameters
    ----------
    model : TrialModel
    readings : sequence of Reading
    trial : str
        Machine and work, for messages.

    Returns
    -------
    Fit

    Raises
    ------
    NotIdentifiedError
        Too few readings, or no best fit.
    """
    count = len(model.names)
    if len(readings) <= count:
        bound = f"must be at least {count + 1} to tell {count} parameters and the scatter"
        raise NotIdentifiedError(trial, [Problem("readings", len(readings), bound)])
    observed = np.array([one.time for one in readings])
    if not count:
        residuals = model.times(np.empty((1, 0)), readings)[0] - observed
        return Fit(np.empty(0), residuals, np.empty((observed.size, 0)))
    affine = np.array([PARAMETERS[name].is_affine for name in model.names])
    fits = []
    for start in _starts(model, readings, observed, affine):
        with suppress(NoAnswerError):
            fits.append(
                least_squares_fit(
                    lambda values: model.times(values, readings),
                    observed,
                    start,
                    scale=model.scale,
                    lower=np.where(affine, -np.inf, 1e-9),
                )
            )
    if not fits:
        raise NotIdentifiedError(trial, [Problem("readings", None, "lead to no best fit")])
    return min(fits, key=lambda one: one.sum_of_squares)


def _starts(
    model: TrialModel, readings: Sequence[Reading], observed: FloatArray, affine: FloatArray
) -> FloatArray:
    """Return the best of a grid of speeds and accelerations, the rests solved for, (starts, p)."""
    scale = model.scale
    curved = np.flatnonzero(~affine.astype(bool))
    sides = [_GRID if rank < 2 else np.ones(1) for rank in range(curved.size)]
    grid = np.array(list(product(*sides)))
    points = np.zeros((len(grid), scale.size))
    points[:, curved] = grid * scale[curved]
    base = model.times(points, readings)
    rests = np.flatnonzero(affine)
    slopes = []
    for place in rests:
        moved = points.copy()
        moved[:, place] = scale[place]
        slopes.append((model.times(moved, readings) - base) / scale[place])
    left = observed - base
    if slopes:
        table = np.stack(slopes, axis=-1)
        solved = (np.linalg.pinv(table) @ left[..., None])[..., 0]
        points[:, rests] = solved
        left = left - (table @ solved[..., None])[..., 0]
    best: FloatArray = points[np.argsort((left**2).sum(axis=1), kind="stable")[:_STARTS]]
    return best
