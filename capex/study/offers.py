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

    Exactly one of `annual_rate` (nominal, compounded monthly) and `flat_rate` (interest on the
    amount first borrowed for the whole term). `equity` or `equity_share` of the price is paid in
    cash, the rest is borrowed. The `balloon` falls due in month `term`, beside the payments; the
    first `interest_only_months` payments are interest alone. The fee is paid when the money is
    drawn: an amount, or a share of what is borrowed.
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

    `term` rentals of exactly one of `rent` (an amount a month) and `rate_factor` (a share of the
    price a month); `rentals_in_advance` of them are paid on the first day, the others at the end
    of each month from then on. The deposit comes back at the end. `at_end` the machine is the
    shop's own without more ado, is bought for the `residual`, or goes back. The fee is paid on
    the first day: an amount, or a share of the price.
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

    `price` takes the place of the catalogue price. `trade_in` is what the seller credits for the
    old machine named in `trade_in_of`, over and above its price being paid in full.
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


__all__ = ["AtEnd", "LeaseOffer", "LoanOffer", "Offer", "OfferKind", "PaymentTiming"]
