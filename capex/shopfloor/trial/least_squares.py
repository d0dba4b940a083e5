"""Nonlinear least squares of a vectorized model, with what its Jacobian says of certainty.

Knows nothing of machines. Imports numpy, scipy.optimize and, of the shop floor, `arrays` and
`trial.statistics`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import optimize

from capex.errors import InputError, NoAnswerError
from capex.shopfloor.arrays import FloatArray, bounded
from capex.shopfloor.trial.statistics import CONFIDENCE, student_quantile

__all__ = ["COLLINEAR", "Fit", "Model", "jacobian", "least_squares_fit"]

#: Parameters (n, p) to modelled readings (n, r).
Model = Callable[[FloatArray], FloatArray]

#: Smallest singular value of the Jacobian with columns of length 1 at which its parameters can
#: still be told apart; differences leave noise of about 1e-12.
COLLINEAR: Final = 1e-6

#: Share of a parameter by which differences move it: errors of 1e-12, and no reach beyond a bend.
_STEP: Final = 1e-4
_TIGHT: Final = 1e-15
_ROUNDING: Final = 1e-12  # of a sum of squares


@dataclass(frozen=True, eq=False)
class Fit:
    """Parameters that fit best, and how well the readings know them.

    Parameters
    ----------
    values : ndarray (p,)
        Parameters.
    residuals : ndarray (r,)
        Modelled − observed.
    jacobian : ndarray (r, p)
        Of the model at `values`.
    """

    values: FloatArray
    residuals: FloatArray
    jacobian: FloatArray

    @property
    def degrees(self) -> int:
        """Degrees of freedom: readings less parameters."""
        return self.residuals.size - self.values.size

    @property
    def sum_of_squares(self) -> float:
        """Of the residuals."""
        return float(self.residuals @ self.residuals)

    @property
    def residual_deviation(self) -> float:
        """Standard deviation of a reading about the model; 0 where none is left to tell."""
        return float(np.sqrt(self.sum_of_squares / self.degrees)) if self.degrees > 0 else 0.0

    @cached_property
    def column_norm(self) -> FloatArray:
        """Length of each column of the Jacobian, shape (p,)."""
        result: FloatArray = np.linalg.norm(self.jacobian, axis=0)
        return result

    @cached_property
    def directions(self) -> tuple[FloatArray, FloatArray]:
        """Singular values and right vectors of the Jacobian with columns of length 1."""
        scaled = self.jacobian / np.where(self.column_norm > 0, self.column_norm, 1.0)
        _, singular, right = np.linalg.svd(scaled, full_matrices=False)
        return singular, right

    @cached_property
    def unit_covariance(self) -> FloatArray:
        """Of the parameters where readings scatter with deviation 1, shape (p, p).

        Raises
        ------
        NoAnswerError
            Some parameters cannot be told apart.
        """
        singular, right = self.directions
        if not self.column_norm.all() or singular.min(initial=1.0) < COLLINEAR:
            raise NoAnswerError("the readings cannot tell the parameters apart")
        root = (right.T / singular) / self.column_norm[:, None]
        result: FloatArray = root @ root.T
        return result

    @property
    def standard_error(self) -> FloatArray:
        """Of each parameter, shape (p,).

        Raises
        ------
        NoAnswerError
            Some parameters cannot be told apart, or no reading is left to judge by.
        """
        if self.degrees < 1:
            raise NoAnswerError("needs more readings than parameters")
        result: FloatArray = self.residual_deviation * np.sqrt(np.diag(self.unit_covariance))
        return result

    def half_width(self, confidence: float = CONFIDENCE) -> FloatArray:
        """Return the half width of each parameter's interval, shape (p,).

        Parameters
        ----------
        confidence : float
            [-].
        """
        result: FloatArray = student_quantile(self.degrees, confidence) * self.standard_error
        return result


def jacobian(model: Model, values: FloatArray, scale: FloatArray) -> FloatArray:
    """Return how the modelled readings change with each parameter, by differences.

    Parameters
    ----------
    model : callable
        Parameters (n, p) to modelled readings (n, r).
    values, scale : ndarray (p,)
        Parameters, and the typical size of each.

    Returns
    -------
    ndarray (r, p)

    Examples
    --------
    >>> jacobian(lambda p: p**2, np.array([3.0]), np.array([1.0])).round(6).tolist()
    [[6.0]]

    Notes
    -----
    Central differences over four points, all parameters in one call. Source `derivable`.
    """
    step = _STEP * np.maximum(np.abs(values), scale)
    moves = np.concatenate([times * np.diag(step) for times in (-2.0, -1.0, 1.0, 2.0)])
    far_below, below, above, far_above = np.split(model(values + moves), 4)
    slope = (8.0 * (above - below) - (far_above - far_below)) / (12.0 * step[:, None])
    result: FloatArray = slope.T
    return result


def least_squares_fit(
    model: Model,
    observed: npt.ArrayLike,
    start: npt.ArrayLike,
    *,
    scale: npt.ArrayLike | None = None,
    lower: npt.ArrayLike = -np.inf,
) -> Fit:
    """Return the parameters whose model has the least sum of squared residuals.

    Assumes independent readings with the same scatter, and a start from which the least is
    reached downhill.

    Parameters
    ----------
    model : callable
        Parameters (n, p) to modelled readings (n, r).
    observed : array_like (r,)
        Readings.
    start : array_like (p,)
        Parameters to begin with.
    scale : array_like (p,), optional
        Typical size of each parameter, for steps of difference; its start unless given.
    lower : array_like (p,)
        Bound that each parameter stays above.

    Returns
    -------
    Fit

    Raises
    ------
    InputError
        Fewer readings than parameters, or values that are not finite.
    NoAnswerError
        The search does not come to an end.

    Examples
    --------
    >>> x = np.array([0.0, 1.0, 2.0, 3.0])
    >>> fit = least_squares_fit(lambda p: p[:, :1] + p[:, 1:] * x, [1.0, 3.0, 5.0, 7.0], [0.5, 0.5])
    >>> fit.values.round(9).tolist()
    [1.0, 2.0]

    Notes
    -----
    Trust region reflective; Jacobian by differences.
    Covariance s²·(JᵀJ)⁻¹ with s² = RSS/(r − p). Checked against source `nist-strd`.
    """
    readings = bounded("observed", observed)
    first = bounded("start", start)
    if readings.size < first.size:
        raise InputError(
            "readings", readings.size, f"must be at least {first.size}, one a parameter"
        )
    size = np.where(first == 0, 1.0, np.abs(first)) if scale is None else bounded("scale", scale)

    def residuals(values: FloatArray) -> FloatArray:
        result: FloatArray = model(values[None, :])[0] - readings
        return result

    found = optimize.least_squares(
        residuals,
        first,
        jac=lambda values: jacobian(model, values, size),
        bounds=(lower, np.inf),
        x_scale="jac",
        ftol=_TIGHT,
        xtol=_TIGHT,
        gtol=_TIGHT,
        max_nfev=100,
    )
    if not found.success:
        raise NoAnswerError("the search for the best fit does not come to an end")
    values, left = np.asarray(found.x), np.asarray(found.fun)
    # where squares no longer fall, half the digits of the values are still open: one step more
    nearer = values + np.linalg.lstsq(jacobian(model, values, size), -left, rcond=None)[0]
    less = residuals(nearer) if np.all(nearer > lower) else left
    if less is not left and less @ less <= (1.0 + _ROUNDING) * (left @ left):
        values, left = nearer, less
    return Fit(values, left, jacobian(model, values, size))
