"""The highest price of a machine that a comparison bears, and the search for it.

Imports numpy and, of this folder, `machine_price` and `sign_changes`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.machine_price import MachinePrice
from capex.decision.sign_changes import sign_changes
from capex.errors import InputError

__all__ = ["PriceLimit", "PriceReason", "highest_price", "top_price"]

FloatArray = npt.NDArray[np.float64]
#: From prices of one machine, (s,), to how far off its limit is, (s, 1): above 0 below it.
Leads = Callable[[FloatArray], FloatArray]

_SWEPT: Final = 33  # prices looked at first, closer together where they are low
_TIMES: Final = 100.0  # how many times the price is the highest one tried
_WITHIN: Final = 1e-10  # width of an answer's bracket, as a share of the highest price tried


class PriceReason(IntEnum):
    """Why there is, or is not, a highest price."""

    FOUND = 0
    ANY_PRICE = 1
    NOT_FREE = 2
    NO_EFFECT = 3
    NO_RIVAL = 4
    NO_DEBT_SERVICE = 5
    COVERED_AT_ANY_PRICE = 6
    NOT_COVERED_FREE = 7

    @property
    def words(self) -> str:
        """The reason as a sentence for the screen."""
        return _WORDS[self]


_WORDS = {
    PriceReason.FOUND: "above this price it is not worth buying",
    PriceReason.ANY_PRICE: "worth buying at every price tried",
    PriceReason.NOT_FREE: "not worth having even at the lowest price tried",
    PriceReason.NO_EFFECT: "its price makes no difference here",
    PriceReason.NO_RIVAL: "there is no rival besides the baseline",
    PriceReason.NO_DEBT_SERVICE: "nothing is due to a lender, so there is no cover",
    PriceReason.COVERED_AT_ANY_PRICE: "cover is above the lender's minimum at every price tried",
    PriceReason.NOT_COVERED_FREE: "cover is below the lender's minimum at the lowest price tried",
}


@dataclass(frozen=True)
class PriceLimit:
    """The highest price of one machine that a comparison bears.

    Parameters
    ----------
    price : float or None
        Of one machine [currency]; None where the reason is not ``FOUND``.
    reason : PriceReason
    today : float
        Its price as the study stands [currency].
    against : str or None
        Key of the alternative that it is level with there, today's leader where there is no
        price; None for a lender.
    tried : tuple of float
        Lowest and highest price tried [currency].
    """

    price: float | None
    reason: PriceReason
    today: float
    against: str | None
    tried: tuple[float, float]

    @property
    def margin(self) -> float | None:
        """What the price may still rise, negative where it is too high already [currency]."""
        return None if self.price is None else self.price - self.today


def highest_price(
    leads: Leads, low: float, high: float, zero: float
) -> tuple[float | None, PriceReason]:
    """Return the highest price at which a lead is still zero, and why there is one or none.

    Two changes of sign between neighbours of the 33 prices first looked at go unseen.

    Parameters
    ----------
    leads : callable
        From prices of one machine, shape (s,), to the lead there, shape (s, 1); NaN where there
        is none.
    low, high : float
        Lowest and highest price tried [currency].
    zero : float
        Size at or below which a lead is rounding.

    Returns
    -------
    price : float or None
        [currency]
    reason : PriceReason

    Examples
    --------
    >>> price, reason = highest_price(lambda p: 300.0 - 2.0 * p[:, None], 0.0, 1000.0, 0.0)
    >>> round(price, 6), reason.name
    (150.0, 'FOUND')
    >>> highest_price(lambda p: -5.0 - p[:, None], 0.0, 1000.0, 0.0)
    (None, <PriceReason.NOT_FREE: 2>)
    """
    prices = low + (high - low) * np.linspace(0.0, 1.0, _SWEPT) ** 2 if high > low else [low]
    known = leads(np.asarray(prices))
    column = known[:, 0]
    real = column[~np.isnan(column)]
    if real.size == 0:
        return None, PriceReason.NO_DEBT_SERVICE
    if np.ptp(real) <= zero:
        return None, PriceReason.NO_EFFECT
    if real[-1] > zero:
        return None, PriceReason.ANY_PRICE
    changes = sign_changes(leads, prices, known, within=_WITHIN * high, zero=zero)
    level = np.asarray(prices)[np.abs(column) <= zero]
    ends = [*(change.value for change in changes if not change.rises), *level.tolist()]
    return (max(ends), PriceReason.FOUND) if ends else (None, PriceReason.NOT_FREE)


def top_price(price: MachinePrice, high: float | None) -> float:
    """Return the highest price tried: as asked, or 100 times today's or the catalogue's if higher.

    Parameters
    ----------
    price : MachinePrice
    high : float, optional
        As asked [currency].

    Raises
    ------
    InputError
        None above 0.

    Examples
    --------
    >>> top_price(MachinePrice(2000.0, 2500.0, (), 1.0), None)
    250000.0
    """
    top = _TIMES * max(price.today, price.listed) if high is None else high
    if not (np.isfinite(top) and top > 0.0):
        bound = "must be above 0; give it where a machine costs nothing today"
        raise InputError("high", high, bound)
    return top
