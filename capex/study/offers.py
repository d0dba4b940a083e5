"""Offers for a machine: what it costs, and how it is paid for.

An offer without a loan or a lease is for cash. All amounts are for one machine, except the
trade-in, which is credited once. What an offer says is checked in `capex.study.offer_checks`.

Imports pydantic, `capex.study.entries` and `capex.study.quantity`.
"""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import Field

from capex.study.entries import (
    COUNT,
    MONEY,
    MONTH,
    CostRate,
    Count,
    Key,
    Money,
    Month,
    Name,
    Share,
    Term,
)
from capex.study.parts import Part
from capex.study.quantity import default

AtEnd = Literal["ownership", "purchase", "return"]
OfferKind = Literal["cash", "loan", "lease"]
PaymentTiming = Literal["arrears", "advance"]


class LoanOffer(Part):
    """A loan on one machine, as quoted.

    Give one rate only, as the lender quotes it. `annual_rate` is nominal, compounded monthly.
    `flat_rate` is interest on the amount first borrowed for the whole time. `equity` is what you
    pay yourself, as an amount; the rest is borrowed. `equity_share` is that deposit as a share of
    the price. `term` is how many months the loan runs. `balloon` is one larger sum, due with the
    last payment. `interest_only_months` is how long only interest is paid at first. `fee` is paid
    when the money is drawn, as an amount. `fee_share` is that fee as a share of what is borrowed.
    """

    annual_rate: CostRate | None = None
    flat_rate: CostRate | None = None
    term: Term
    timing: PaymentTiming = "arrears"
    equity: Money | None = None
    equity_share: Share | None = None
    balloon: Money = default(0, MONEY)
    interest_only_months: Month = default(0, MONTH)
    fee: Money | None = None
    fee_share: Share | None = None


class LeaseOffer(Part):
    """A lease of one machine, as quoted.

    Give the rent once, as the lessor quotes it. `rent` is an amount a month. `rate_factor` is the
    rent of a month as a share of the price. `term` is how many months are rented.
    `rentals_in_advance` is how many rents are paid on the first day; the others follow at the end
    of each month.
    `deposit` is paid on the first day and comes back at the end. `residual` is what buying the
    machine at the end costs. `fee` is paid on the first day, as an amount. `fee_share` is that fee
    as a share of the price.
    """

    rent: Money | None = None
    rate_factor: Share | None = None
    term: Term
    rentals_in_advance: Count = default(0, COUNT)
    deposit: Money = default(0, MONEY)
    residual: Money | None = None
    maintenance_included: bool = False
    at_end: AtEnd
    fee: Money | None = None
    fee_share: Share | None = None


class Offer(Part):
    """One dated offer for one machine.

    `price` takes the place of the catalogue price. `trade_in` is what the seller credits for your
    old machine; the price is the full one, before that credit. `trade_in_of` is the machine given
    for it.
    """

    machine: Key
    name: Name
    dated: date = Field(strict=False)
    valid_until: date | None = Field(default=None, strict=False)
    price: Money | None = None
    trade_in: Money | None = None
    trade_in_of: Key | None = None
    loan: LoanOffer | None = None
    lease: LeaseOffer | None = None

    @property
    def kind(self) -> OfferKind:
        """Whether it is for cash, a loan or a lease."""
        if self.loan is not None:
            return "loan"
        return "cash" if self.lease is None else "lease"

    def expired_on(self, day: date) -> bool:
        """Whether it no longer holds on a day."""
        return self.valid_until is not None and self.valid_until < day

    def lapse(self, start: date) -> str:
        """Return by how much it ends before a plan starts, in words; see `lapse_words`."""
        return lapse_words(self.name, self.valid_until, start)


def lapse_words(name: str, valid_until: date | None, start: date) -> str:
    """Return by how much an offer ends before a plan starts; empty where it does not.

    Examples
    --------
    >>> lapse_words("Autumn", date(2026, 12, 31), date(2027, 1, 1))
    '“Autumn” ends 2026-12-31, one day before the plan starts (2027-01-01)'
    >>> lapse_words("Autumn", date(2027, 1, 1), date(2027, 1, 1))
    ''
    """
    days = 0 if valid_until is None else (start - valid_until).days
    if days <= 0:
        return ""
    before = "one day" if days == 1 else f"{days:,} days"
    return f"“{name}” ends {valid_until}, {before} before the plan starts ({start})"


__all__ = ["AtEnd", "LeaseOffer", "LoanOffer", "Offer", "OfferKind", "PaymentTiming", "lapse_words"]
