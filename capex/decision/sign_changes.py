"""Where differences change sign along one input: a sweep finds brackets, batches narrow them.

The difference may be anything that a batch of scenarios answers: the gain of an alternative, the
lead of one over another, cover less a level. All open brackets of all differences are narrowed
together, one batch a round, on the same path as every other figure.

Imports numpy and `capex.errors`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.errors import InputError

__all__ = ["Differences", "SignChange", "sign_changes"]

FloatArray = npt.NDArray[np.float64]

#: Takes values of one input, shape (s,); returns the differences there, shape (s, c).
Differences = Callable[[FloatArray], FloatArray]

#: Where a round looks in a bracket, as shares of its width: at even distances …
_EVEN: Final = np.arange(1, 8) / 8
#: … and about the point where a straight line between its ends would cross, as near as asked first.
_NEAR: Final = np.array([0.0, 1e-4, 1e-2])
#: Share of its own size to which a value can be told from its neighbours.
_FINEST: Final = 1e-14


@dataclass(frozen=True)
class SignChange:
    """A bracket in which one difference takes the other sign.

    Parameters
    ----------
    column : int
        Which difference.
    low, high : float
        Ends of the bracket, in the unit of the input.
    before, after : float
        Difference at `low` and at `high`, of opposite signs; `before` may be zero where the
        difference is zero over a stretch.
    """

    column: int
    low: float
    high: float
    before: float
    after: float

    @property
    def value(self) -> float:
        """Where a straight line between the ends of the bracket crosses zero."""
        share = self.before / (self.before - self.after)
        return self.low + share * (self.high - self.low)

    @property
    def rises(self) -> bool:
        """Whether the difference is above zero after the change."""
        return self.after > 0.0

    @property
    def step(self) -> float:
        """By how much the difference changes within the bracket, in its own unit."""
        return abs(self.after - self.before)


def sign_changes(
    differences: Differences,
    points: npt.ArrayLike,
    values: npt.ArrayLike | None = None,
    *,
    within: float,
    zero: float = 0.0,
    whole: bool = False,
) -> tuple[SignChange, ...]:
    """Return every change of sign between the points of a sweep, narrowed.

    Points where a difference is zero, or not a number, have no sign and are passed over: a touch,
    or a stretch of zeros at an end, is no change. Two changes between neighbouring points go
    unseen. A jump past zero is a change; its `step` tells it from a crossing.

    Parameters
    ----------
    differences : callable
        From values of the input, shape (s,), to differences, shape (s, c).
    points : array_like, shape (s,)
        Ascending values of the input.
    values : array_like, shape (s, c), optional
        The differences at the points, where they are known.
    within : float
        Width at which a bracket is narrow enough, above 0.
    zero : float
        Size at or below which a difference counts as zero at the points of the sweep.
    whole : bool
        Whether the input takes whole numbers only: brackets end between two neighbours.

    Returns
    -------
    tuple of SignChange
        By column, ascending.

    Raises
    ------
    InputError
        Points that do not ascend, values of another shape, or a width that is not above 0.

    Examples
    --------
    >>> def differences(x):
    ...     return np.stack([x**2 - 2.0, 3.0 - x], axis=1)
    >>> found = sign_changes(differences, [0.0, 1.0, 2.0, 4.0], within=1e-9)
    >>> [(change.column, round(change.value, 9), change.rises) for change in found]
    [(0, 1.414213562, True), (1, 3.0, False)]
    """
    swept = np.atleast_1d(np.asarray(points, dtype=np.float64))
    if not (np.diff(swept) > 0.0).all():
        raise InputError("points", "the sweep", "must ascend")
    if not within > 0.0:
        raise InputError("within", within, "must be above 0")
    known = np.asarray(differences(swept) if values is None else values, dtype=np.float64)
    if known.ndim != 2 or known.shape[0] != swept.size:
        raise InputError("values", known.shape, f"must have shape ({swept.size}, differences)")
    brackets = [
        bracket
        for column in range(known.shape[1])
        for bracket in _brackets(column, swept, known[:, column], zero)
    ]
    width = max(within, 1.0) if whole else within
    open_ = [place for place, bracket in enumerate(brackets) if not _narrow(bracket, width)]
    while open_:
        inner = [_inner_points(brackets[place], width, whole) for place in open_]
        found = differences(np.concatenate(inner))
        ends = np.cumsum([part.size for part in inner])[:-1]
        for place, at, these in zip(open_, inner, np.split(found, ends), strict=True):
            brackets[place] = _narrowed(brackets[place], at, these[:, brackets[place].column])
        open_ = [place for place in open_ if not _narrow(brackets[place], width)]
    return tuple(brackets)


def _brackets(column: int, points: FloatArray, values: FloatArray, zero: float) -> list[SignChange]:
    """Return the neighbours with a sign, zeros passed over, whose signs differ."""
    signed = np.abs(values) > zero  # not a number is not above either
    at, there = points[signed].tolist(), values[signed].tolist()
    return [
        SignChange(column, at[i], at[i + 1], there[i], there[i + 1])
        for i in range(len(at) - 1)
        if (there[i] > 0.0) != (there[i + 1] > 0.0)
    ]


def _narrow(bracket: SignChange, width: float) -> bool:
    """Return whether a bracket is as short as asked, or as numbers allow."""
    finest = _FINEST * max(abs(bracket.low), abs(bracket.high))
    return bracket.high - bracket.low <= max(width, finest)


def _inner_points(bracket: SignChange, width: float, whole: bool) -> FloatArray:
    """Return where to look inside a bracket, ascending and not empty."""
    span = bracket.high - bracket.low
    near = np.maximum(_NEAR * span, 0.49 * width)
    about = bracket.value + np.concatenate([-near[::-1], near])
    inner = np.concatenate([bracket.low + _EVEN * span, about])
    inner = np.unique(np.round(inner) if whole else inner)
    return inner[(inner > bracket.low) & (inner < bracket.high)]


def _narrowed(bracket: SignChange, points: FloatArray, values: FloatArray) -> SignChange:
    """Return the part of a bracket up to the first point that has the sign of its upper end."""
    points = np.concatenate([[bracket.low], points, [bracket.high]])
    values = np.concatenate([[bracket.before], values, [bracket.after]])
    turned = np.sign(values) == np.sign(bracket.after)
    place = int(turned.argmax())
    return replace(
        bracket,
        low=float(points[place - 1]),
        high=float(points[place]),
        before=float(values[place - 1]),
        after=float(values[place]),
    )
