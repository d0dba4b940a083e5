"""What owning an alternative costs over the horizon, by group: every line of the ledger once.

Imports numpy, `capex.finance` and `capex.decision.outcome`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.outcome import Outcome
from capex.finance.ledger import Line

__all__ = ["OwnershipCost", "OwnershipGroup", "is_of_owning", "ownership_cost"]

FloatArray = npt.NDArray[np.float64]

#: Groups of the cost of owning and running, in the order of the screen.
_COSTS: Final = (
    "Machines, less what they fetch",
    "Freight and installation",
    "Training",
    "Service",
    "Insurance",
    "Film and overlaminate",
    "Ink",
    "Print heads and blades",
    "Spoil and other direct cost",
    "Power",
    "Floor space",
    "Wages and overtime",
    "Other cost of machines and room",
)
#: Shown apart: what lending and leasing cost, or spare, beside paying cash.
_FINANCING: Final = (
    "Interest and fees of loans",
    "Rents and fees of leases",
    "Price paid by the lessor",
    "Purchase at the end of a lease",
    "Value of machines given back",
    "Deposit of a lease still out",
    "Service that rents cover",
)
#: The rest of the ledger; no cost of owning.
_BESIDE: Final = (
    "Sales",
    "Bought-in work",
    "Working capital",
    "Tax",
    "Loans drawn and repaid",
    "Owner's draws and earlier debts",
)

_BY_KEY: Final = {
    "purchase": "Machines, less what they fetch",
    "sales_tax": "Machines, less what they fetch",
    "sold": "Machines, less what they fetch",
    "salvage": "Machines, less what they fetch",
    "installation": "Freight and installation",
    "training": "Training",
    "service": "Service",
    "insurance": "Insurance",
    "film": "Film and overlaminate",
    "laminate": "Film and overlaminate",
    "ink": "Ink",
    "heads": "Print heads and blades",
    "blades": "Print heads and blades",
    "power": "Power",
    "standby": "Power",
    "interest": "Interest and fees of loans",
    "loan_fee": "Interest and fees of loans",
    "rent": "Rents and fees of leases",
    "rent_settled": "Rents and fees of leases",
    "lease_fee": "Rents and fees of leases",
    "lease": "Price paid by the lessor",
    "lease_option": "Purchase at the end of a lease",
    "lease_returned": "Value of machines given back",
    "lease_deposit": "Deposit of a lease still out",
    "lease_service": "Service that rents cover",
    "loan": "Loans drawn and repaid",
    "principal": "Loans drawn and repaid",
    "loan_settled": "Loans drawn and repaid",
    "interest_tax": "Tax",
    "lease_tax": "Tax",
    "owner_draws": "Owner's draws and earlier debts",
    "existing_debt": "Owner's draws and earlier debts",
}
#: Where a line goes that is not named above, by its group in the ledger.
_BY_GROUP: Final = {
    "sales": "Sales",
    "materials": "Spoil and other direct cost",
    "bought-in work": "Bought-in work",
    "people": "Wages and overtime",
    "machines": "Other cost of machines and room",
    "room": "Floor space",
    "investment": "Machines, less what they fetch",
    "working capital": "Working capital",
    "tax": "Tax",
}


@dataclass(frozen=True)
class OwnershipGroup:
    """One group of ledger lines over the horizon; outflows are negative.

    Parameters
    ----------
    name : str
        For people to read.
    lines : tuple of str
        Keys of the ledger lines in it.
    nominal, present_value : ndarray, shape (n,)
        Sum of its cash up to the horizon, and discounted to the day of decision [currency].
    """

    name: str
    lines: tuple[str, ...]
    nominal: FloatArray
    present_value: FloatArray


@dataclass(frozen=True)
class OwnershipCost:
    """What an alternative costs to own and run, before tax; outflows are negative.

    All groups together are the ledger: each of its lines stands in exactly one.

    Parameters
    ----------
    costs : tuple of OwnershipGroup
        Of owning and running.
    financing : tuple of OwnershipGroup
        What lending and leasing add to paying cash, shown apart: no part of the investment. The
        price that a lessor pays is money that comes in.
    beside : tuple of OwnershipGroup
        Sales, bought-in work, working capital, tax, loans drawn and repaid, owner's draws.
    """

    costs: tuple[OwnershipGroup, ...]
    financing: tuple[OwnershipGroup, ...]
    beside: tuple[OwnershipGroup, ...]

    @property
    def groups(self) -> tuple[OwnershipGroup, ...]:
        """All groups: the whole ledger."""
        return (*self.costs, *self.financing, *self.beside)

    @property
    def nominal(self) -> FloatArray:
        """Cost of owning and running as if paid in cash, shape (n,) [currency]."""
        return np.asarray(sum(group.nominal for group in self.costs))

    @property
    def nominal_financed(self) -> FloatArray:
        """The same as the machines are paid for, on loan or lease, shape (n,) [currency]."""
        return np.asarray(self.nominal + sum(group.nominal for group in self.financing))

    @property
    def present_value(self) -> FloatArray:
        """Cost as if paid in cash, discounted to the day of decision, shape (n,) [currency]."""
        return np.asarray(sum(group.present_value for group in self.costs))


def ownership_cost(outcome: Outcome) -> OwnershipCost:
    """Return the cost of ownership of an alternative over the horizon, by group.

    Read off the ledger; nothing is worked out a second time.

    Parameters
    ----------
    outcome : Outcome
        With its details.

    Returns
    -------
    OwnershipCost

    Raises
    ------
    InputError
        An appraisal that kept only cash.

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = ownership_cost(appraise(study).outcomes["separate"])
    >>> [group.name for group in found.costs][:3]
    ['Machines, less what they fetch', 'Freight and installation', 'Training']
    >>> bool(found.nominal[0] < 0)
    True
    """
    ledger = outcome.path.ledger
    names = np.array([_group_of(line) for line in ledger.lines])

    def group(name: str) -> OwnershipGroup:
        chosen = names == name
        flow = ledger.table[:, chosen].sum(axis=1)
        return OwnershipGroup(
            name,
            tuple(line.key for line, here in zip(ledger.lines, chosen, strict=True) if here),
            flow.sum(axis=1),
            (flow * outcome.discount_factors).sum(axis=1),
        )

    return OwnershipCost(
        tuple(group(name) for name in _COSTS),
        tuple(group(name) for name in _FINANCING),
        tuple(group(name) for name in _BESIDE),
    )


def is_of_owning(line: Line) -> bool:
    """Return whether a ledger line is a cost of owning and running."""
    return _group_of(line) in _COSTS


def _group_of(line: Line) -> str:
    return _BY_KEY[line.key] if line.key in _BY_KEY else _BY_GROUP[line.group]
