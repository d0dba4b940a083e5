"""The ledger of an alternative: months × lines, the source of every figure of money.

One table of shape (n, lines, m + 1): scenarios × lines × months 0 … m. Month 0 is the day of
decision; flows of month t fall at its end. Outflows are negative. Financing lines stand apart:
the investment's own cash is everything but them.

Imports numpy, `capex.study`, `capex.shopfloor` and the other files of `capex.finance`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.finance.arrays import FloatArray

__all__ = ["Group", "Ledger", "Line"]

Group = Literal[
    "sales",
    "materials",
    "bought-in work",
    "people",
    "machines",
    "room",
    "investment",
    "working capital",
    "tax",
    "financing",
]


@dataclass(frozen=True)
class Line:
    """One line of a ledger.

    Parameters
    ----------
    key : str
        Unique, for example ``sales.banners``.
    name : str
        For people to read.
    group : str
        Which subtotal it belongs to.
    taxed : bool
        Whether it counts in taxable income as it stands (depreciation takes the place of the
        lines that do not).
    """

    key: str
    name: str
    group: Group
    taxed: bool


@dataclass(frozen=True)
class Ledger:
    """Cash by line and month.

    Parameters
    ----------
    lines : tuple of Line
    table : ndarray, shape (n, lines, m + 1)
        [currency].
    horizon : ndarray of int, shape (n,)
        Last month of each scenario; later months hold zeros.
    """

    lines: tuple[Line, ...]
    table: FloatArray
    horizon: npt.NDArray[np.intp]

    def line(self, key: str) -> FloatArray:
        """Return one line by month, shape (n, m + 1) [currency].

        Parameters
        ----------
        key : str
            As in `lines`.

        Raises
        ------
        InputError
            No such line.
        """
        keys = [line.key for line in self.lines]
        if key not in keys:
            raise InputError("line", key, f"is not in the ledger; known: {', '.join(keys)}")
        return self.table[:, keys.index(key)]

    def group(self, group: Group) -> FloatArray:
        """Return a subtotal by month, shape (n, m + 1) [currency].

        Parameters
        ----------
        group : str
            One of `Group`.
        """
        return self._total([line.group == group for line in self.lines])

    def _total(self, wanted: list[bool]) -> FloatArray:
        places = np.flatnonzero(wanted)
        if places.size and places[-1] - places[0] + 1 == places.size:
            return np.asarray(self.table[:, places[0] : places[-1] + 1].sum(axis=1))
        return np.asarray(self.table[:, places].sum(axis=1))

    @cached_property
    def net_cash_flow(self) -> FloatArray:
        """Cash of the investment by month, without financing, shape (n, m + 1)."""
        return self._total([line.group != "financing" for line in self.lines])

    @cached_property
    def equity_cash_flow(self) -> FloatArray:
        """Cash left to the owner by month, financing included, shape (n, m + 1)."""
        return np.asarray(self.table.sum(axis=1))
