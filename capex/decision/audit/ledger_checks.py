"""The measures of an alternative once more, from the lines of its ledger in a plain loop.

Imports `capex.decision.outcome`, `capex.finance.rate_of_return` (the words of a reason) and, of
this folder, `check` and `plain_money`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from capex.decision.audit import plain_money as plain
from capex.decision.audit.check import Check, skipped
from capex.decision.outcome import Outcome
from capex.finance.rate_of_return import RateReason

__all__ = ["ledger_checks"]

#: Shares of all money that moves, of a year, and of a rate, that are rounding.
_MONEY, _YEARS, _RATE = 1e-9, 1e-6, 1e-7
_RESIDUE = 1e-12
_LOOP = "ledger, line by line"


def ledger_checks(outcome: Outcome) -> Iterator[Check]:
    """Yield the checks of one alternative's measures, first scenario.

    Parameters
    ----------
    outcome : Outcome
        With its details.

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.study import data_folder, read_study
    >>> found = appraise(read_study(data_folder() / "studies" / "quenlow.toml"))
    >>> [each.figure for each in ledger_checks(found.outcomes["keep"]) if not each.holds]
    []
    """
    own, rate = _flow(outcome), float(outcome.discount_rate[0])
    year_ends = outcome.convention == "year_end"
    moved = sum(abs(amount) for line in _lines(outcome) for amount in line)
    allowed = max(_MONEY * moved, _MONEY)
    worth = sum(plain.present_values(own, rate, year_ends=year_ends))
    yield _money(outcome, "Net present value", outcome.net_present_value[0], worth, allowed)
    cash, least = float(outcome.opening_cash[0]), math.inf
    for amount in _flow(outcome, financed=True):
        cash += amount
        least = min(least, cash)
    reported = outcome.worst_month_end_cash[0]
    yield _money(outcome, "Least cash at a month's end", reported, least, allowed)
    if outcome.baseline is outcome:
        return
    other = _flow(outcome.baseline)
    today = sum(plain.present_values(other, rate, year_ends=year_ends))
    gain = worth - today
    yield _money(outcome, "Gain over the baseline", outcome.gain[0], gain, 2 * allowed)
    level = plain.annuity_payment(gain, rate, (len(own) - 1) / 12)
    yield _money(
        outcome, "Gain as a level amount a year", outcome.equivalent_annual_value[0], level,
        2 * allowed,
    )  # fmt: skip
    flow = [one - two for one, two in zip(own, other, strict=True)]
    yield from _paybacks(outcome, flow, plain.present_values(flow, rate, year_ends=year_ends))
    yield _rate_of_return(outcome, flow, year_ends=year_ends)


def _lines(outcome: Outcome, *, financed: bool = False) -> list[list[float]]:
    """Return the ledger's lines as lists of numbers, up to the horizon."""
    ledger, end = outcome.path.ledger, int(outcome.horizon[0]) + 1
    return [
        ledger.line(line.key)[0, :end].tolist()
        for line in ledger.lines
        if financed or line.group != "financing"
    ]


def _flow(outcome: Outcome, *, financed: bool = False) -> list[float]:
    return [math.fsum(month) for month in zip(*_lines(outcome, financed=financed), strict=True)]


def _money(outcome: Outcome, figure: str, reported: float, found: float, tolerance: float) -> Check:
    return Check(outcome.key, figure, _LOOP, "money", float(reported), found, tolerance)


def _paybacks(
    outcome: Outcome, flow: Sequence[float], discounted: Sequence[float]
) -> Iterator[Check]:
    for figure, reported, each in (
        ("Payback, simple", outcome.payback_period, flow),
        ("Payback, discounted", outcome.discounted_payback_period, discounted),
    ):
        found = plain.payback_time(each) / 12
        yield Check(outcome.key, figure, _LOOP, "years", float(reported[0]), found, _YEARS)


def _rate_of_return(outcome: Outcome, flow: Sequence[float], *, year_ends: bool) -> Check:
    """Return the check of the rate nearest to 0, or that there is none."""
    figure, path = "Internal rate of return", "halving between opposite signs"
    rate = outcome.internal_rate_of_return
    reason = RateReason(int(rate.reason[0]))
    reported: float | None = None
    if reason == RateReason.FOUND:
        reported = float(rate.rate[0])
    elif reason == RateReason.SEVERAL_ROOTS:
        figure += ", the lowest from 0 % of several"
        reported = min((float(r) for r in outcome.rates_of_return() if r >= 0), default=None)
    if year_ends:
        flow = plain.by_project_year(flow)
    largest = max(abs(amount) for amount in flow)
    clean = [amount if abs(amount) > _RESIDUE * largest else 0.0 for amount in flow]
    found = _plain_rate(clean, 1 if year_ends else 12)
    if reported is None and found is not None:
        return skipped(outcome.key, figure, path, "rate", reason.words)
    allowed = _RATE * max(1.0, abs(reported or 0.0))
    return Check(outcome.key, figure, path, "rate", reported, found, allowed)


def _plain_rate(flow: Sequence[float], periods: int) -> float | None:
    """Return the yearly rate; -100 % where money goes out, none comes back and none is owed."""
    if any(amount < 0 for amount in flow) and not any(amount > 0 for amount in flow):
        return -1.0 if flow[-1] == 0 else None
    found = plain.halved_rate(flow)
    try:
        return None if found is None else (1 + found) ** periods - 1
    except OverflowError:
        return math.inf
