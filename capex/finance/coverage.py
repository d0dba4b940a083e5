"""Ratios of money that may have no answer: cover, its definition in words, and the lowest of many.

Imports numpy, `capex.errors` and the arrays of this folder.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.finance.arrays import FloatArray, parse_finite

__all__ = [
    "USUAL_COVER", "CoverDefinition", "LowestRatio", "Ratio", "RatioReason", "cover_ratio",
    "extreme", "quotient",
]  # fmt: skip

IntArray = npt.NDArray[np.intp]
_ROUNDING: Final = 1e-9  # share of a ratio


class RatioReason(IntEnum):
    """Why there is, or is not, a ratio."""

    FOUND = 0
    NO_DEBT_SERVICE = 1
    NO_LOAN = 2
    NO_MACHINE = 3

    @property
    def words(self) -> str:
        """The reason as a sentence for the screen."""
        return _WORDS[self]


_WORDS = {
    RatioReason.FOUND: "there is a ratio",
    RatioReason.NO_DEBT_SERVICE: "nothing is due to a lender in this time, so there is no cover",
    RatioReason.NO_LOAN: "nothing is borrowed, so there is no loan to value",
    RatioReason.NO_MACHINE: "money is owed while no machine that was bought stands for it",
}


@dataclass(frozen=True)
class Ratio:
    """A ratio in every period, with its reason.

    Parameters
    ----------
    ratio : ndarray, shape (...)
        NaN where the reason is not ``RatioReason.FOUND``.
    reason : ndarray of int, shape (...)
        A `RatioReason` each.
    """

    ratio: FloatArray
    reason: IntArray

    @property
    def found(self) -> npt.NDArray[np.bool_]:
        """Where there is a ratio."""
        return np.asarray(self.reason == RatioReason.FOUND)


@dataclass(frozen=True)
class LowestRatio:
    """The lowest or highest of the ratios of each scenario, and when.

    Parameters
    ----------
    ratio : ndarray, shape (n,)
        NaN where there is none in any period.
    when : ndarray of int, shape (n,)
        Month or project year; -1 where there is none.
    reason : ndarray of int, shape (n,)
        A `RatioReason` each.
    """

    ratio: FloatArray
    when: IntArray
    reason: IntArray


@dataclass(frozen=True)
class CoverDefinition:
    """What a cover ratio counts as cash available.

    Parameters
    ----------
    after_tax, after_draws : bool
        Whether tax, and what the owner draws, are taken off first.

    Examples
    --------
    >>> print(CoverDefinition(after_tax=False, after_draws=False).cash_words)
    operating cash before tax and before the owner's draws

    Source: farmdoc-repayment.
    """

    after_tax: bool = True
    after_draws: bool = True

    @property
    def cash_words(self) -> str:
        """What is divided, in short."""
        tax = "after" if self.after_tax else "before"
        draws = "after" if self.after_draws else "before"
        return f"operating cash {tax} tax and {draws} the owner's draws"

    @property
    def words(self) -> str:
        """The whole definition, to be printed beside every figure."""
        tax = (
            "; tax is what is paid, less what interest saves of it, a year's in equal parts over "
            "its months: what write-offs of new machines save and what is due on machines sold are "
            "in it"
            if self.after_tax
            else ""
        )
        return (
            f"Cover = {self.cash_words}, over debt service. Operating cash is sales less "
            "materials, bought-in work, people, machines and room, without service that a rent "
            "covers; not what is paid for machines and training or got for them, nor working "
            f"capital{tax}. Debt service is interest, repayment with a balloon when it falls due, "
            "lease rents, and the service of debts there are already; not fees, a lease's deposit "
            "or option, nor what is settled when a machine goes or at the horizon."
        )


#: What a lender usually counts.
USUAL_COVER: Final = CoverDefinition()


def cover_ratio(cash: npt.ArrayLike, debt_service: npt.ArrayLike) -> Ratio:
    """Return cash available over debt service.

    Parameters
    ----------
    cash : array_like, (...) [currency]
        Available for debt service; may be negative, and the ratio with it.
    debt_service : array_like, (...) [currency]
        Due, at least 0.

    Returns
    -------
    Ratio
        Without debt service there is none, with the reason.

    Raises
    ------
    InputError
        An amount that is not finite, or a negative debt service.

    Examples
    --------
    >>> float(cover_ratio(100_000, 80_000).ratio)
    1.25

    Source: lender-cover-article.
    """
    available = parse_finite("cash", cash)
    due = parse_finite("debt_service", debt_service)
    if np.any(due < 0.0):
        raise InputError("debt_service", float(due.min()), "must be at least 0")
    return quotient(available, due, RatioReason.NO_DEBT_SERVICE)


def quotient(above: FloatArray, below: FloatArray, otherwise: RatioReason) -> Ratio:
    """Return one amount over another, shape (...); where that is 0 none, for the given reason."""
    shape = np.broadcast_shapes(above.shape, below.shape)
    there = np.broadcast_to(below > 0.0, shape)
    ratio = np.divide(above, below, out=np.full(shape, np.nan), where=there)
    return Ratio(ratio, np.where(there, RatioReason.FOUND, otherwise).astype(np.intp))


def extreme(each: Ratio, first: int, *, highest: bool) -> LowestRatio:
    """Return the extreme ratio of each scenario, the first of equal ones.

    Parameters
    ----------
    each : Ratio
        Shape (n, periods).
    first : int
        Number of the first period.
    highest : bool
        Whether the highest is sought, not the lowest.
    """
    sign = -1.0 if highest else 1.0
    known = np.where(each.found, sign * each.ratio, np.inf)
    there = each.found.any(axis=1)
    least = np.where(there, known.min(axis=1), 0.0)
    # months alike but for rounding are equal
    place = (known <= (least + _ROUNDING * np.abs(least))[:, None]).argmax(axis=1)
    every = np.arange(len(place))
    return LowestRatio(
        np.where(there, each.ratio[every, place], np.nan),
        np.where(there, place + first, -1),
        np.where(there, int(RatioReason.FOUND), each.reason[:, 0]),
    )
