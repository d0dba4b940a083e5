"""The ledger of an alternative: months × lines, the source of every figure of money.

One table of shape (n, lines, m + 1): scenarios × lines × months 0 … m. Month 0 is the day of
decision; flows of month t fall at its end. Outflows are negative. Financing lines stand apart:
the investment's own cash is everything but them.

Imports numpy, `capex.study`, `capex.shopfloor` and the other files of `capex.finance`.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from functools import cached_property
from typing import Final, Literal, get_args

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.finance.arrays import FloatArray

__all__ = ["OPERATING", "Group", "Ledger", "Line"]

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

#: Groups of what the work itself brings and takes, before tax.
OPERATING: Final[tuple[Group, ...]] = (
    "sales", "materials", "bought-in work", "people", "machines", "room",
)  # fmt: skip
_OTHERS: Final = frozenset(get_args(Group)) - {*OPERATING, "financing"}


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
        [currency]. A line's scenarios lie side by side in memory, as lines are added up.
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
        return self._total({group})

    def _total(self, groups: Collection[str], onto: FloatArray | None = None) -> FloatArray:
        """Return the sum of the lines of some groups, one after the other, on top of another."""
        rows, _, months = self.table.shape
        total = np.zeros((rows, months)) if onto is None else onto.copy()
        for place, line in enumerate(self.lines):
            if line.group in groups:
                total += self.table[:, place]
        return total

    @cached_property
    def operating_cash_flow(self) -> FloatArray:
        """Cash of the groups in `OPERATING` by month, shape (n, m + 1)."""
        return self._total(OPERATING)

    @cached_property
    def net_cash_flow(self) -> FloatArray:
        """Cash of the investment by month, without financing, shape (n, m + 1)."""
        return self._total(_OTHERS, self.operating_cash_flow)

    @cached_property
    def equity_cash_flow(self) -> FloatArray:
        """Cash left to the owner by month, financing included, shape (n, m + 1)."""
        return self._total({"financing"}, self.net_cash_flow)
