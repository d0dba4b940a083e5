"""Break-even: the value of an input at which two alternatives leave the same.

Imports numpy, `capex.study`, `capex.units` and, of this folder, the appraisal, the range and the
sweep of an input, and its sign changes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import Appraisal, appraise
from capex.decision.input_range import InputRange, input_range
from capex.decision.input_sweep import (
    InputSweep,
    appraised_range,
    input_sweeps,
    swept_values,
)
from capex.decision.sign_changes import SignChange, sign_changes
from capex.errors import InputError
from capex.study import Study
from capex.units import KINDS

__all__ = [
    "BreakEven",
    "BreakEvenReason",
    "Pair",
    "break_evens",
    "narrowed_break_evens",
    "rounding",
]

FloatArray = npt.NDArray[np.float64]

#: Keys of two alternatives: the first pays where its net present value is above the other's.
Pair = tuple[str, str]

_SWEPT: Final = 33  # values looked at first
WITHIN: Final = 1e-9  # width of an answer's bracket, as a share of the range
_ROUNDING: Final = 1e-11  # share of the largest net present value that is rounding of sums
_JUMP: Final = 1e3  # how much steeper than the whole range a bracket is where gains jump
_MADE: Final = 0.01  # share of the added orders below which an alternative makes no more


class BreakEvenReason(IntEnum):
    """Why there is, or is not, a value at which two alternatives leave the same."""

    FOUND = 0
    CAPACITY = 1
    NEVER = 2
    ALWAYS = 3
    NO_EFFECT = 4
    HELD = 5

    @property
    def words(self) -> str:
        """The reason in words for the screen."""
        return _WORDS[self]


_WORDS = {
    BreakEvenReason.FOUND: "both leave the same there",
    BreakEvenReason.CAPACITY: "never pays within the range: capacity caps it, more orders come "
    "and no more are made",
    BreakEvenReason.NEVER: "never pays within the range",
    BreakEvenReason.ALWAYS: "always pays within the range",
    BreakEvenReason.NO_EFFECT: "makes no difference between the two",
    BreakEvenReason.HELD: "is not moved alone: its field or other inputs hold it, or nothing says "
    "how far",
}


@dataclass(frozen=True)
class BreakEven:
    """Where one input makes two alternatives leave the same.

    Parameters
    ----------
    alternative, against : str
        Keys. The first pays where its net present value is above the other's.
    reach : InputRange
        The input, and between which values it was looked at.
    unit : str
        Of all its values: the canonical unit of its kind, money as the study's currency.
    today : float or None
        Its value as the study stands; None where the study leaves it out.
    difference : float
        Net present value of the first less the other's, as the study stands [currency].
    changes : tuple of SignChange
        Every change of sign found in the range, ascending [currency].
    jumps : tuple of bool
        Of each, whether the difference passes zero in a jump and is zero nowhere near.
    reason : BreakEvenReason
    """

    alternative: str
    against: str
    reach: InputRange
    unit: str
    today: float | None
    difference: float
    changes: tuple[SignChange, ...]
    jumps: tuple[bool, ...]
    reason: BreakEvenReason

    @property
    def path(self) -> str:
        """Of the input in the study."""
        return self.reach.path

    @property
    def values(self) -> tuple[float, ...]:
        """Every break-even, ascending.

        Of a whole number the first on the far side of the change, seen from today's value.
        """
        if not self.reach.quantity.entry.whole:
            return tuple(change.value for change in self.changes)
        here = self.reach.low if self.today is None else self.today
        return tuple(one.low if one.high <= here else one.high for one in self.changes)

    @property
    def value(self) -> float | None:
        """The break-even nearest to today's value; None where there is none."""
        here = self.reach.low if self.today is None else self.today
        return min(self.values, key=lambda value: abs(value - here), default=None)

    @property
    def distance(self) -> float | None:
        """How far the nearest break-even is from today's value, as a share of that value [-].

        Negative where it is lower; None where there is none, or today's value is 0 or not there.
        """
        if self.value is None or not self.today:
            return None
        return (self.value - self.today) / abs(self.today)


def break_evens(
    study: Study,
    path: str,
    pairs: Sequence[Pair] | None = None,
    scenario: Mapping[str, float] | None = None,
    *,
    low: float | None = None,
    high: float | None = None,
) -> tuple[BreakEven, ...]:
    """Return where an input makes alternatives leave the same, all pairs in the same batches.

    Two changes between neighbours of the 33 values first looked at go unseen.

    Parameters
    ----------
    study : Study
    path : str
        Of the input: any that `appraise` accepts.
    pairs : sequence of (str, str), optional
        Keys of the alternatives compared; by default each one against the baseline.
    scenario : mapping of str to float, optional
        Inputs that differ from the study, canonical units.
    low, high : float, optional
        Ends of the range, canonical unit; by default those of `input_range`.

    Returns
    -------
    tuple of BreakEven
        One a pair.

    Raises
    ------
    InputError
        Unknown input or alternative, one compared with itself, or a range that is not allowed.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> price = "machines.mid_all_in_one.price"
    >>> found, = break_evens(study, price, [("all_in_one", "separate")])
    >>> found.reason.name, found.unit, bool(found.value > found.today)
    ('FOUND', 'USD', True)
    """
    shown = study.replaced(dict(scenario or {}))
    if pairs is None:
        pairs = [(key, shown.baseline) for key in shown.alternatives if key != shown.baseline]
    _check_pairs(shown, pairs)
    here = appraise(shown, keep="everything")
    reach = input_range(shown, path, low, high)

    def swept(values: FloatArray) -> InputSweep | None:
        return input_sweeps(shown, here, [(path, values)])[0]

    sweep = swept(swept_values(reach, _SWEPT))
    if sweep is None and low is None and high is None:
        reach = appraised_range(shown, here, reach)
        sweep = swept(swept_values(reach, _SWEPT))
    if sweep is None:
        appraise(shown, {path: swept_values(reach, _SWEPT)})  # raises, and says what is refused
        raise InputError(path, reach.low, "cannot be moved")
    return narrowed_break_evens(shown, here, reach, sweep, pairs)


def narrowed_break_evens(
    study: Study,
    here: Appraisal,
    reach: InputRange,
    sweep: InputSweep,
    pairs: Sequence[Pair],
    within: float = WITHIN,
) -> tuple[BreakEven, ...]:
    """Return the break-evens that a sweep brackets, narrowed on the same path.

    Parameters
    ----------
    study : Study
    here : Appraisal
        Of the study as it stands, with its details.
    reach : InputRange
    sweep : InputSweep
        From end to end of the range.
    pairs : sequence of (str, str)
        Keys of the alternatives compared.
    within : float
        Width of an answer's bracket, as a share of the range.

    Returns
    -------
    tuple of BreakEven
        One a pair.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> here, reach = appraise(study), input_range(study, "levers.demand")
    >>> sweep, = input_sweeps(study, here, [(reach.path, swept_values(reach, 9))])
    >>> found, = narrowed_break_evens(study, here, reach, sweep, [("all_in_one", "separate")])
    >>> found.today, len(found.changes)
    (1.0, 1)
    """
    places = {key: place for place, key in enumerate(study.alternatives)}
    ones, others = ([places[pair[side]] for pair in pairs] for side in (0, 1))

    def differences(values: FloatArray) -> FloatArray:
        gains = appraise(study, {reach.path: values}, keep="cash", like=here).net_present_value
        return gains[:, ones] - gains[:, others]

    known = sweep.gains[:, ones] - sweep.gains[:, others]
    width, whole = reach.high - reach.low, reach.quantity.entry.whole
    narrow = max(within * width, np.finfo(np.float64).tiny)
    zero = rounding(here)
    changes = sign_changes(
        differences, sweep.values, known, within=narrow, zero=zero, whole=whole
    )  # fmt: skip
    left_out = reach.quantity.source == "default" and not _is_stated(study, reach.path)
    unit = KINDS[reach.quantity.entry.kind].unit.replace("money", study.currency)
    now = here.net_present_value[0]
    found = []
    for column, (one, other) in enumerate(pairs):
        mine = tuple(change for change in changes if change.column == column)
        reason = _reason(known[:, column], mine, zero, sweep, places[one])
        steep = _JUMP * float(np.abs(known[:, column]).max()) / width if mine else 0.0
        jumps = tuple(whole or each.step > steep * (each.high - each.low) for each in mine)
        today = None if left_out else reach.quantity.likely
        ahead = float(now[places[one]] - now[places[other]])
        found.append(BreakEven(one, other, reach, unit, today, ahead, mine, jumps, reason))
    return tuple(found)


def rounding(here: Appraisal) -> float:
    """Return the difference of two net present values that is nothing but rounding [currency]."""
    worths = [outcome.net_present_value for outcome in here.outcomes.values()]
    return _ROUNDING * float(np.abs(worths).max())


def _is_stated(study: Study, path: str) -> bool:
    """Return whether the study has an input that it may leave out."""
    return any(known == path for known, _ in study.quantities())


def _check_pairs(study: Study, pairs: Sequence[Pair]) -> None:
    for one, other in pairs:
        study.alternative(one), study.alternative(other)
        if one == other:
            raise InputError("against", other, "must be another alternative")


def _reason(
    differences: FloatArray,
    changes: tuple[SignChange, ...],
    zero: float,
    sweep: InputSweep,
    place: int,
) -> BreakEvenReason:
    """Return why a pair has a break-even or none."""
    if changes:
        return BreakEvenReason.FOUND
    if sweep.values.size == 1:
        return BreakEvenReason.HELD
    if np.ptp(differences) <= zero:
        return BreakEvenReason.NO_EFFECT
    if (differences > zero).any():
        return BreakEvenReason.ALWAYS
    asked, made = sweep.asked[:, place], sweep.made[:, place]
    for end, before in ((-1, -2), (0, 1)):
        added = asked[end] - asked[before]
        if added > 1e-9 * asked[before] and made[end] - made[before] <= _MADE * added:
            return BreakEvenReason.CAPACITY
    return BreakEvenReason.NEVER
