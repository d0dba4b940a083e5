"""How far an input can be moved: what the study says of it, within what its field allows.

Imports `capex.study`, `capex.units` and `capex.errors`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

from capex.errors import InputError
from capex.study import Quantity, Study
from capex.units import quantity_text

__all__ = ["InputRange", "input_range", "pulled_in"]

Origin = Literal["asked", "low and high", "reach"]

#: How many times today's value is as far as an input is moved, up, and down where 0 is barred.
_TIMES: Final = 3.0
#: How far a yearly rate, or another share that can be negative, is moved from today's value [-].
_POINTS: Final = 0.2
#: Where a plain number that is 0 today is moved to [-].
_NUMBER: Final = 10.0
#: How near to a bound that is itself not allowed, as a share of the way to it.
_SHORT_OF: Final = 0.01
_HALVINGS: Final = 12


@dataclass(frozen=True)
class InputRange:
    """Where an input is looked at.

    Parameters
    ----------
    path : str
        Of the input in the study.
    quantity : Quantity
        As it stands.
    low, high : float
        Ends, canonical unit; equal where the input cannot be moved alone.
    origins : tuple of {"asked", "low and high", "reach"}
        Where each end comes from: asked for, the input's own spread, or as far as an input without
        one is moved.
    """

    path: str
    quantity: Quantity
    low: float
    high: float
    origins: tuple[Origin, Origin]

    @property
    def words(self) -> str:
        """Where the ends come from."""
        low, high = (_WORDS[origin] for origin in self.origins)
        return low if low == high else f"low: {low}; high: {high}"


_WORDS: Final[dict[Origin, str]] = {
    "asked": "as asked",
    "low and high": "its own low and high",
    "reach": "as far as an input without a low and a high is moved",
}


def input_range(
    study: Study, path: str, low: float | None = None, high: float | None = None
) -> InputRange:
    """Return the range in which an input is looked at.

    An end that is asked for stands. Else it is the quantity's own low or high where they are
    stated. Else the input is moved

    * to three times today's value, and down to 0, or to a third where 0 is barred;
    * a share from 0 to 100 %, or to three times today's value if that is more;
    * a share that can be negative by 20 points either way, or by twice today's value if more;
    * any other that can be negative by twice today's value either way;
    * one that is 0 today to the largest value of its kind in the study, a plain number to 10;

    always within the bounds of the field, and no further than the other inputs allow.

    Parameters
    ----------
    study : Study
    path : str
        Of the input.
    low, high : float, optional
        Ends asked for, canonical unit.

    Returns
    -------
    InputRange

    Raises
    ------
    InputError
        No such input, an end that is not allowed, or ends that leave no range.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = input_range(study, "shop.people.wage")
    >>> round(found.low * 3600), round(found.high * 3600), found.words
    (18, 28, 'its own low and high')
    >>> input_range(study, "machines.mid_all_in_one.price", high=1e5).high
    100000.0
    """
    quantity = study.quantity(path)
    asked = [end for end in (low, high) if end is not None]
    for end in asked:
        study.replaced({path: end})
    if quantity.low is not None and quantity.high is not None and quantity.low < quantity.high:
        least, most = quantity.low, quantity.high
        origin: Origin = "low and high"
    else:
        least, most = _reach(study, quantity)
        origin = "reach"
    found = InputRange(
        path,
        quantity,
        least if low is None else low,
        most if high is None else high,
        (origin if low is None else "asked", origin if high is None else "asked"),
    )
    if asked and found.low >= found.high:
        kind = quantity.entry.kind
        ends = [
            quantity_text(end, kind, currency=study.currency) for end in (found.low, found.high)
        ]
        raise InputError(path, " to ".join(ends), "leaves no range: low must be below high")
    return pulled_in(found, lambda value: _accepted(study, path, value))


def pulled_in(found: InputRange, accepts: Callable[[float], bool]) -> InputRange:
    """Return the range with each refused end moved towards today's value until it is accepted.

    Parameters
    ----------
    found : InputRange
    accepts : callable
        Whether a value of the input is possible; today's is.

    Returns
    -------
    InputRange
        Its ends are today's value where nothing else is possible.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = input_range(study, "levers.price", 0.5, 2.0)
    >>> pulled_in(found, lambda value: value >= 0.75).low
    0.75
    """
    here = found.quantity.likely
    ends = [_end(found, here, end, accepts) for end in (found.low, found.high)]
    return InputRange(found.path, found.quantity, ends[0], ends[1], found.origins)


def _end(found: InputRange, here: float, end: float, accepts: Callable[[float], bool]) -> float:
    if accepts(end):
        return end
    good, bad = here, end
    for _ in range(_HALVINGS):
        middle = (good + bad) / 2.0
        if found.quantity.entry.whole:
            middle = float(math.trunc(middle - good) + good)
            if middle == good:
                break
        good, bad = (middle, bad) if accepts(middle) else (good, middle)
    return good


def _accepted(study: Study, path: str, value: float) -> bool:
    try:
        study.replaced({path: value})
    except InputError:
        return False
    return True


def _reach(study: Study, quantity: Quantity) -> tuple[float, float]:
    """Return how far an input without a spread is moved, within the bounds of its field."""
    entry, here = quantity.entry, quantity.likely
    floor = entry.at_least if entry.above is None else entry.above
    ceiling = entry.at_most if entry.below is None else entry.below
    far = _TIMES * abs(here) or _largest(study, quantity)
    low, high = 0.0, far
    if floor is None or floor < 0.0:
        span = max(_POINTS, (_TIMES - 1) * abs(here)) if entry.kind == "fraction" else (
            (_TIMES - 1) * abs(here) or far
        )  # fmt: skip
        low, high = here - span, here + span
    elif entry.kind == "fraction":
        high = max(1.0, far)
    if floor is not None and low <= floor:
        low = floor
        if entry.above is not None:
            low = here / _TIMES if floor == 0.0 else floor + _SHORT_OF * (here - floor)
    if ceiling is not None and high >= ceiling:
        high = ceiling if entry.below is None else ceiling - _SHORT_OF * (ceiling - here)
    return (float(math.ceil(low)), float(math.floor(high))) if entry.whole else (low, high)


def _largest(study: Study, quantity: Quantity) -> float:
    """Return where an input that is 0 today is moved to: a size that its kind has in the study."""
    kind = quantity.entry.kind
    if kind == "number":
        return _NUMBER
    return max((abs(q.likely) for _, q in study.quantities() if q.entry.kind == kind), default=0.0)
