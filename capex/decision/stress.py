"""Stress: what a lender's four bad cases, and all of them together, do to every alternative.

Imports numpy, `capex.study`, `capex.finance` and the appraisal and cover of this folder.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import Appraisal, appraise
from capex.decision.cover import lender_view_of
from capex.errors import InputError
from capex.finance.coverage import USUAL_COVER, CoverDefinition, RatioReason
from capex.finance.lender import LenderView
from capex.study import Study
from capex.study.money import Lender

__all__ = ["LenderFigures", "StressAmounts", "StressTest", "stress_test"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]

#: Cases in order: as the scenario says, one stress each, and all together.
CASES: Final = ("as_entered", "volume", "price", "delay", "loan_rate", "combined")
_ROUNDING: Final = 1e-9  # share of an amount by which a figure may miss a threshold


@dataclass(frozen=True)
class StressAmounts:
    """How hard each case strikes; the amounts are usual ones, not a rule.

    Parameters
    ----------
    volume, price : float
        Change of the orders and of the selling prices, as a fraction: −0.2 is a fifth less.
    delay : int
        Months by which what is bought starts to work later.
    loan_rate : float
        Added to the annual rate of what is borrowed, as a fraction: 0.02 is two points. Rents
        do not move: a lease is quoted as an amount, and its rate can only be read off it.

    Raises
    ------
    InputError
        A change of −100 % or less, a delay that is no whole number of months from 0, or an
        amount that is not finite.

    Examples
    --------
    >>> StressAmounts(volume=-0.3).price
    -0.1
    """

    volume: float = -0.20
    price: float = -0.10
    delay: int = 3
    loan_rate: float = 0.02

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not np.isfinite(value):
                raise InputError(f"stress.{field.name}", value, "must be a finite number")
        for name in ("volume", "price"):
            if getattr(self, name) <= -1.0:
                bound = "must be above -1 (a fraction: -0.2 for 20 % less)"
                raise InputError(f"stress.{name}", getattr(self, name), bound)
        if self.delay < 0 or self.delay != int(self.delay):
            bound = "must be a whole number of months, at least 0"
            raise InputError("stress.delay", self.delay, bound)

    @property
    def words(self) -> dict[str, str]:
        """Each case for the screen, by its key."""
        return {
            "as_entered": "As entered",
            "volume": f"Volume {self.volume:+.0%}".replace("-", "−"),
            "price": f"Selling prices {self.price:+.0%}".replace("-", "−"),
            "delay": f"Start {self.delay:g} month{'' if self.delay == 1 else 's'} late",
            "loan_rate": f"Loan rate {100 * self.loan_rate:+g} points".replace("-", "−"),
            "combined": "All together",
        }


@dataclass(frozen=True)
class LenderFigures:
    """What a lender reads of one alternative, case by case; arrays have shape (cases,).

    Parameters
    ----------
    gain, net_present_value : ndarray [currency]
        Of the investment, over the baseline under the same case and by itself.
    view : LenderView
        Cover, loan to value and cash, over the cases.
    meets_cover, meets_loan_to_value, meets_cash : ndarray of bool
        Whether each threshold of `Study.money.lender` is met. Where nothing is due or owed,
        nothing is asked.
    """

    gain: FloatArray
    net_present_value: FloatArray
    view: LenderView
    meets_cover: BoolArray
    meets_loan_to_value: BoolArray
    meets_cash: BoolArray

    @property
    def meets(self) -> BoolArray:
        """Whether all thresholds are met."""
        return self.meets_cover & self.meets_loan_to_value & self.meets_cash


@dataclass(frozen=True)
class StressTest:
    """Every alternative in every case.

    Parameters
    ----------
    amounts : StressAmounts
    cases : tuple of str
        Keys in order; words in ``amounts.words``.
    appraisal : Appraisal
        Of the cases, one scenario each.
    each : dict of str to LenderFigures
        By key of the alternative.
    """

    amounts: StressAmounts
    cases: tuple[str, ...]
    appraisal: Appraisal
    each: dict[str, LenderFigures]


def stress_test(
    study: Study,
    scenario: Mapping[str, float] | None = None,
    amounts: StressAmounts | None = None,
    definition: CoverDefinition = USUAL_COVER,
) -> StressTest:
    """Return what each stress case does, all of them in one batch of the one path.

    Machines that are sold or traded in go on their date, however late the new ones start.

    Parameters
    ----------
    study : Study
    scenario : mapping of str to float, optional
        Inputs that differ from the study, canonical units; the stresses come on top.
    amounts : StressAmounts, optional
    definition : CoverDefinition
        What cover counts as cash.

    Returns
    -------
    StressTest

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = stress_test(study)
    >>> found.cases
    ('as_entered', 'volume', 'price', 'delay', 'loan_rate', 'combined')
    >>> figures = found.each["separate"]
    >>> bool((figures.gain[0] > figures.gain[1:4]).all())
    True
    """
    how = amounts or StressAmounts()
    base = dict(scenario or {})

    def likely(path: str) -> float:
        return float(base.get(path, study.quantity(path).likely))

    stressed = {
        "volume": ("levers.demand", likely("levers.demand") * (1.0 + how.volume)),
        "price": ("levers.price", likely("levers.price") * (1.0 + how.price)),
        "delay": ("levers.delay", likely("levers.delay") + how.delay),
        "loan_rate": (
            "levers.loan_rate_shift", likely("levers.loan_rate_shift") + how.loan_rate
        ),
    }  # fmt: skip
    batch: dict[str, npt.ArrayLike] = dict(base)
    for name, (path, value) in stressed.items():
        hit = np.array([case in (name, "combined") for case in CASES])
        batch[path] = np.where(hit, value, likely(path))
    found = appraise(study, batch, keep="everything")
    each = {}
    for key, outcome in found.outcomes.items():
        view = lender_view_of(outcome, definition)
        each[key] = _figures(
            outcome.gain, outcome.net_present_value, view, outcome.path.study.money.lender
        )
    return StressTest(how, CASES, found, each)


def _figures(gain: FloatArray, worth: FloatArray, view: LenderView, asked: Lender) -> LenderFigures:
    cover, ratio = view.lowest_year, view.highest_loan_to_value
    least = asked.minimum_cover.si * (1.0 - _ROUNDING)
    most = asked.highest_loan_to_value.si * (1.0 + _ROUNDING)
    found = ratio.reason == RatioReason.FOUND
    moved = np.abs(view.month_end_cash).max(axis=1)
    return LenderFigures(
        gain,
        worth,
        view,
        np.asarray((cover.reason != RatioReason.FOUND) | (cover.ratio >= least)),
        np.asarray((ratio.reason == RatioReason.NO_LOAN) | (found & (ratio.ratio <= most))),
        np.asarray(view.lowest_cash >= asked.lowest_cash.si - _ROUNDING * moved),
    )
