"""The money of the study: rates, horizon, tax, loan, and the exchange rates for display.

Imports pydantic, `capex.study.entries` and `capex.study.quantity`.
"""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import Field

from capex.study.entries import (
    BALANCE,
    RATE,
    SHARE,
    SPAN,
    Balance,
    CostRate,
    CurrencyCode,
    Factor,
    Key,
    Rate,
    Share,
    Span,
    Term,
)
from capex.study.parts import Part
from capex.study.quantity import default

Convention = Literal["monthly", "year_end"]
Losses = Literal["carried_forward", "absorbed"]


class Tax(Part):
    """How profit is taxed: the name of a regime (a data file) and the shop's own rate."""

    regime: Key = "none"
    rate: Share = default(0, SHARE)
    losses: Losses = "absorbed"


class Loan(Part):
    """A level-payment loan on the machines bought; it never touches the investment NPV."""

    share: Share
    annual_rate: CostRate
    term: Term
    fee: Share = default(0, SHARE)


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
    exchange_rates: dict[CurrencyCode, Factor] = Field(default_factory=dict)


__all__ = ["Convention", "Escalation", "Loan", "Losses", "MoneyPlan", "Tax"]
