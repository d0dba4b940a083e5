"""The money of the study: rates, horizon, tax, loan, lender, and the exchange rates for display.

Imports pydantic, `capex.study.entries` and `capex.study.quantity`.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Annotated, Final, Literal

from pydantic import Field

from capex.study.entries import (
    BALANCE,
    MONEY,
    RATE,
    SHARE,
    SPAN,
    Balance,
    CostRate,
    CurrencyCode,
    Factor,
    Key,
    Money,
    Rate,
    Share,
    Span,
    Term,
)
from capex.study.parts import Part
from capex.study.quantity import Entry, Quantity, default

_RATIO: Final = Entry("number", above=0.0, at_most=100.0, example="1.25")
_Ratio = Annotated[Quantity, _RATIO]

Convention = Literal["monthly", "year_end"]
Losses = Literal["carried_forward", "absorbed"]


class Tax(Part):
    """How profit and purchases are taxed: a regime (a data file) and the shop's own rates.

    `on_purchases` is sales tax, or value-added tax that cannot be reclaimed. It adds to the price
    of every machine bought, by instalments too, and belongs to its cost for tax. A leased
    machine's rents, and what is paid for it at the end of the lease, bear it instead. Prices and
    rents are entered without it.
    """

    regime: Key = "none"
    rate: Share = default(0, SHARE)
    losses: Losses = "absorbed"
    on_purchases: Share = replace(
        default(0, SHARE), note="sales tax or VAT that cannot be reclaimed, on machines bought"
    )


class Loan(Part):
    """A level-payment loan on the machines bought; it never touches the investment NPV.

    It runs on when a machine is sold; a loan that an offer states is repaid then.
    """

    share: Share
    annual_rate: CostRate
    term: Term
    fee: Share = default(0, SHARE)


class Lender(Part):
    """What a lender asks for, and what else leaves the shop's cash each month.

    `minimum_cover` is of the cash of a year over its debt service, `highest_loan_to_value` of what
    is owed over what the machines would fetch, `lowest_cash` of money in the bank at a month's
    end. `owner_draws` and `existing_debt_service` are paid every month from month 1.
    """

    minimum_cover: _Ratio = replace(
        default(1.25, _RATIO),
        on=date(2026, 11, 25),
        note="the usual commercial wish, secondary source; ask the lender",
    )
    highest_loan_to_value: _Ratio = replace(
        default(0.8, _RATIO),
        source="assumed",
        on=date(2026, 11, 25),
        note="common practice, no source; ask the lender",
    )
    lowest_cash: Balance = default(0, BALANCE)
    owner_draws: Money = default(0, MONEY)
    existing_debt_service: Money = default(0, MONEY)


class Escalation(Part):
    """Yearly rise of prices in nominal terms; zero means today's prices throughout."""

    prices: Rate = default(0, RATE)
    materials: Rate = default(0, RATE)
    wages: Rate = default(0, RATE)
    overheads: Rate = default(0, RATE)


class MoneyPlan(Part):
    """Discounting, horizon, tax, working capital and finance, all nominal."""

    start: date = Field(strict=False)
    horizon: Term
    discount_rate: CostRate
    convention: Convention = "monthly"
    tax: Tax = Tax()
    escalation: Escalation = Escalation()
    working_capital: Span = default(0, SPAN)
    opening_cash: Balance = default(0, BALANCE)
    loan: Loan | None = None
    lender: Lender = Lender()
    exchange_rates: dict[CurrencyCode, Factor] = Field(default_factory=dict)


__all__ = ["Convention", "Escalation", "Lender", "Loan", "Losses", "MoneyPlan", "Tax"]
