"""Measures of a flow in plain Python: a loop over the months, a rate by halving, a closed form.

Scalars and lists only, nothing of `capex.finance`: written from the definitions to hold its
kernels against.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

__all__ = [
    "annuity_payment",
    "by_project_year",
    "halved_rate",
    "loan_balance",
    "payback_time",
    "present_value",
    "present_values",
]

#: Steps of the growth a period in which a change of sign is looked for: near 1, and from 2 on.
_STEP, _LONG_STEP, _FARTHEST = 1.002, 1.05, 1e15
#: A flow behind by less than this share of all that moves is behind by rounding.
_ROUNDING = 1e-12


def present_values(flow: Sequence[float], annual_rate: float, *, year_ends: bool) -> list[float]:
    """Return each month's flow in today's money; flows of a year at its end where that is said.

    Examples
    --------
    >>> [round(x, 4) for x in present_values([-100, *[0] * 11, 110], 0.10, year_ends=False)[::12]]
    [-100.0, 100.0]
    """
    return [
        amount / (1 + annual_rate) ** (math.ceil(month / 12) if year_ends else month / 12)
        for month, amount in enumerate(flow)
    ]


def payback_time(flow: Sequence[float]) -> float:
    """Return the months after which the sum is never again below zero, infinite where it still is.

    Examples
    --------
    >>> payback_time([-100, 60, 60, -50, 60])
    3.5
    """
    allowance = _ROUNDING * sum(abs(amount) for amount in flow)
    total, since = 0.0, 0.0
    for month, amount in enumerate(flow):
        before, total = total, total + amount
        if total < -allowance:
            since = math.inf
        elif since == math.inf:
            since = month - 1 + -before / amount
    return since


def by_project_year(flow: Sequence[float]) -> list[float]:
    """Return what moves on the day of decision, then in each twelve months."""
    return [flow[0], *(sum(flow[first : first + 12]) for first in range(1, len(flow), 12))]


def present_value(flow: Sequence[float], growth: float) -> float:
    """Return a flow's worth at a growth factor a period; worth at its end where that is below 1.

    The sign is the same at either end, and neither runs out of range.
    """
    total = 0.0
    if growth >= 1:
        for amount in reversed(flow):
            total = total / growth + amount
    else:
        for amount in flow:
            total = total * growth + amount
    return total


def halved_rate(flow: Sequence[float]) -> float | None:
    """Return the rate a period nearest 0 at which a flow is worth nothing, at or above 0 first.

    The worth is looked at in steps away from 0; where its sign changes, the step is halved until
    it is as narrow as a number can be. None where the sign never changes.

    Examples
    --------
    >>> round(halved_rate([-16000, 2000, 4000, 5000, 5000, 5000, 5000]), 6)
    0.140855
    """
    for upwards in (True, False):
        inner = 1.0
        sign = present_value(flow, inner)
        if sign == 0:
            return 0.0 if any(flow) else None
        while 1 / _FARTHEST < inner < _FARTHEST:
            step = _STEP if 0.5 < inner < 2 else _LONG_STEP
            outer = inner * step if upwards else inner / step
            if (present_value(flow, outer) > 0) != (sign > 0):
                return _halved(flow, inner, outer, sign) - 1
            inner = outer
    return None


def _halved(flow: Sequence[float], inner: float, outer: float, sign: float) -> float:
    while True:
        middle = (inner + outer) / 2
        if middle in (inner, outer):
            return middle
        if (present_value(flow, middle) > 0) == (sign > 0):
            inner = middle
        else:
            outer = middle


def annuity_payment(owed: float, rate: float, periods: float) -> float:
    """Return the level payment that repays a loan in so many periods; of a worth, as much a year.

    Examples
    --------
    >>> round(annuity_payment(28800, 0.0075, 60), 2)
    597.84
    """
    return owed / periods if rate == 0 else owed * rate / _shrunk(rate, periods)


def _shrunk(rate: float, periods: float) -> float:
    """Return 1 − (1 + rate)^−periods, to full accuracy for small rates too."""
    return -math.expm1(-periods * math.log1p(rate))


def loan_balance(owed: float, rate: float, periods: float, paid: float) -> float:
    """Return what is still owed after so many level payments, in closed form."""
    if paid >= periods:
        return 0.0
    if rate == 0:
        return owed * (1 - paid / periods)
    return owed * _shrunk(rate, periods - paid) / _shrunk(rate, periods)
