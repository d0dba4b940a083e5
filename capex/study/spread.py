"""How an input may spread about its likely value: the shapes, and what each asks of the ends.

* ``pert``: low and high are the ends, the likely value the mode (beta with weight 4).
* ``triangular``: the same ends and mode, straight flanks.
* ``normal``: low and high are the 10th and the 90th percentile, equally far from the likely value.
* ``lognormal``: low and high are the 10th and the 90th percentile, the likely value the median.
  This one and the normal one are cut off at the bounds of the field.
* ``discrete``: low, likely and high themselves, with the chances that the user gives.

Imports the standard library and `capex.errors`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from statistics import NormalDist
from typing import Any, Final, Literal, get_args

from capex.errors import InputError

__all__ = ["CUT_AT_MOST", "P90", "Chances", "DistributionName", "parse_shape", "spread_problem"]

DistributionName = Literal["pert", "triangular", "normal", "lognormal", "discrete"]
Chances = tuple[float, float, float]

#: Standard normal quantile at 90 %.
P90: Final = NormalDist().inv_cdf(0.9)
#: Most of a distribution without ends that may lie beyond a field's bounds, and is cut off there.
CUT_AT_MOST: Final = 0.01
_SAME: Final = 0.01  # typed figures are rounded: a hundredth of the spread off the middle is none


def parse_shape(table: Mapping[str, Any], name: str) -> tuple[DistributionName, Chances | None]:
    """Return the distribution and the chances that an entry states; ``pert`` where it is silent.

    Parameters
    ----------
    table : mapping
        Of the entry.
    name : str
        Of the field, for the message.

    Raises
    ------
    InputError
        No distribution that is known, a shape without ends, or chances that are none.
    """
    shape: Any = table.get("distribution", "discrete" if "chances" in table else "pert")
    if shape not in get_args(DistributionName):
        known = ", ".join(get_args(DistributionName))
        raise InputError(name, shape, f"is not a distribution; known: {known}")
    if "low" not in table and not table.keys().isdisjoint({"distribution", "chances"}):
        raise InputError(name, shape, "is the shape of a spread; give 'low' and 'high' too")
    if "chances" not in table:
        return shape, None
    given = table["chances"]
    numbers = [c for c in given if isinstance(c, (int, float))] if isinstance(given, list) else []
    if len(numbers) != 3 or len(given) != 3:
        raise InputError(name, given, "must be three numbers: chances of low, likely and high")
    return shape, (float(numbers[0]), float(numbers[1]), float(numbers[2]))


def spread_problem(
    low: float,
    likely: float,
    high: float,
    distribution: DistributionName = "pert",
    chances: Chances | None = None,
    bounds: tuple[float, float] = (-math.inf, math.inf),
) -> str | None:
    """Return what a spread must satisfy and does not, in words without a unit, or None.

    Parameters
    ----------
    low, likely, high : float
        In ascending order, canonical unit.
    distribution : str
    chances : tuple of three floats, optional
        Of low, likely and high.
    bounds : tuple of two floats
        Of the field; a normal or lognormal distribution is cut off there.

    Examples
    --------
    >>> spread_problem(18.0, 22.0, 28.0)
    >>> spread_problem(18.0, 22.0, 28.0, "normal")
    'as a normal distribution must have low and high equally far from the likely value'
    """
    if (chances is not None) != (distribution == "discrete"):
        return "needs 'chances' where the distribution is discrete, and only there"
    if chances is not None:
        if any(not 0.0 <= chance <= 1.0 for chance in chances):
            return "must have chances between 0 and 1"
        if not math.isclose(sum(chances), 1.0, abs_tol=1e-9):
            return f"must have chances that add up to 1, not {sum(chances):g}"
    if distribution == "normal":
        return _normal_problem(low, likely, high, bounds)
    if distribution == "lognormal":
        return _lognormal_problem(low, likely, high, bounds)
    return None


def _normal_problem(
    low: float, likely: float, high: float, bounds: tuple[float, float]
) -> str | None:
    if abs(low + high - 2.0 * likely) > _SAME * (high - low):
        return "as a normal distribution must have low and high equally far from the likely value"
    if low == high:
        return None
    curve = NormalDist(likely, (high - low) / (2.0 * P90))
    return _cut_problem(curve, bounds, "normal", "take 'lognormal' or 'pert'")


def _lognormal_problem(
    low: float, likely: float, high: float, bounds: tuple[float, float]
) -> str | None:
    if low <= 0.0:
        return "as a lognormal distribution must have a low above 0"
    middle = math.sqrt(low * high)
    if abs(likely - middle) > _SAME * (high - low):
        return (
            "as a lognormal distribution must have √(low · high) as its likely value, "
            f"{middle / likely:.4g} times the one given"
        )
    if low == high:
        return None
    curve = NormalDist(math.log(likely), math.log(high / low) / (2.0 * P90))
    ends = tuple(math.log(end) if end > 0.0 else -math.inf for end in bounds)
    return _cut_problem(curve, (ends[0], ends[1]), "lognormal", "take 'pert'")


def _cut_problem(
    curve: NormalDist, bounds: tuple[float, float], name: str, instead: str
) -> str | None:
    """Return that too much of a distribution lies beyond bounds, or None."""
    beyond = curve.cdf(bounds[0]) + 1.0 - curve.cdf(bounds[1])
    if beyond <= CUT_AT_MOST:
        return None
    return (
        f"as a {name} distribution lies beyond the bounds of the field with a chance of "
        f"{beyond:.1%}; at most {CUT_AT_MOST:.0%} may: {instead}"
    )
