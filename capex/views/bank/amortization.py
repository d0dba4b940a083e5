"""Amortisation by month: of all loans of a choice, and of each offer that lends money.

May import: numpy, and from capex study, decision, finance, `views.bank`, `views.chart`
and `views.charts.picture`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from capex.decision.outcome import Outcome
from capex.finance.offer_flows import Deal, offer_flows
from capex.study import Study
from capex.views.bank.amounts import money_to_unit
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis

__all__ = ["Repayments", "amortization_picture", "lending_offers", "of_choice", "of_offer"]

FloatArray = npt.NDArray[np.float64]

_INTEREST = {"color": "#94527a", "pattern": {"shape": "/", "fillmode": "overlay", "size": 6}}
_PRINCIPAL = {"color": "#1f7a8c"}


@dataclass(frozen=True)
class Repayments:
    """A loan, or several together, by month; all amounts positive.

    Parameters
    ----------
    name : str
    drawn, interest, principal : ndarray, shape (m + 1,) [currency]
        What is settled at the end counts as principal.
    """

    name: str
    drawn: FloatArray
    interest: FloatArray
    principal: FloatArray

    @property
    def payment(self) -> FloatArray:
        """Interest and principal, shape (m + 1,) [currency]."""
        return self.interest + self.principal

    @property
    def balance(self) -> FloatArray:
        """Still owed after each month's payment, shape (m + 1,) [currency]."""
        return np.asarray((self.drawn - self.principal).cumsum())


def _of_lines(name: str, lines: Mapping[str, FloatArray]) -> Repayments | None:
    """Return the repayments in lines of financing, each (m + 1,); None where nothing is lent."""
    if "loan" not in lines or not lines["loan"].any():
        return None
    settled = lines.get("loan_settled", np.zeros_like(lines["loan"]))
    return Repayments(name, lines["loan"], 0.0 - lines["interest"],
                      0.0 - lines["principal"] - settled)  # fmt: skip


def of_choice(outcome: Outcome) -> Repayments | None:
    """Return what a choice repays, read off its ledger; None where nothing is borrowed."""
    ledger, last = outcome.path.ledger, int(outcome.horizon[0])
    lines = {line.key: ledger.line(line.key)[0, : last + 1] for line in ledger.lines
             if line.group == "financing"}  # fmt: skip
    return _of_lines(outcome.name, lines)


def lending_offers(study: Study) -> dict[str, str]:
    """Return names of the offers that lend money, by key: loans, and leases ending in ownership."""
    return {
        key: offer.name
        for key, offer in study.offers.items()
        if offer.loan is not None or (offer.lease is not None and offer.lease.at_end == "ownership")
    }


def of_offer(study: Study, key: str) -> Repayments | None:
    """Return what an offer for one machine asks for, bought today and kept to the horizon."""
    offer, months = study.offers[key], int(study.money.horizon.likely)
    price = study.machines[offer.machine].price if offer.price is None else offer.price
    deal = Deal(
        price.si[:1] * study.levers.machine_price.si[:1], np.ones(1), np.full(1, months), months
    )
    lines = offer_flows(study, key, deal).lines
    return _of_lines(offer.name, {name: flow[0] for name, flow in lines.items()})


def amortization_picture(found: Repayments, look: Look) -> Picture:
    """Return interest and principal of every month below, what is still owed above."""
    last = int(np.nonzero(found.payment)[0].max(initial=1))
    at, rate, code = np.arange(1, last + 1), look.currency.rate, look.currency.code
    data: list[dict[str, object]] = [
        {
            "type": "bar", "name": name, "x": at, "y": (values[1 : last + 1] * rate).round(2),
            "marker": marker, "yaxis": "y", "hovertemplate": f"%{{y:,.4s}} {code}",
        }
        for name, values, marker in (
            ("Principal", found.principal, _PRINCIPAL), ("Interest", found.interest, _INTEREST),
        )
    ]  # fmt: skip
    data.append({
        "type": "scatter", "mode": "lines", "name": "Still owed", "x": np.arange(last + 1),
        "y": (found.balance[: last + 1] * rate).round(2), "yaxis": "y2",
        "line": {"color": "#b3261e", "width": 2.5, "dash": "dash"},
        "hovertemplate": f"%{{y:,.4s}} {code}",
    })  # fmt: skip
    layout = {
        "barmode": "stack", "bargap": 0.15, "hovermode": "x unified",
        "xaxis": axis("Month", dtick=12 if last > 24 else 3, anchor="y"),
        "yaxis": axis(f"A month ({code})", tickformat="~s", domain=[0, 0.46]),
        "yaxis2": axis(f"Owed ({code})", tickformat="~s", domain=[0.56, 1], rangemode="tozero"),
    }  # fmt: skip
    return Picture({"data": data, "layout": layout}, _reading(found, look), _table(found, look))


def _table(found: Repayments, look: Look) -> ChartTable:
    """Return a row a month to the currency's unit, so that rows add up."""
    last = int(np.nonzero(found.payment)[0].max(initial=0))

    def text(value: float) -> str:
        return f"{round(float(value) * look.currency.rate, 2) + 0.0:,.2f}"

    code = look.currency.code
    heads = [f"{name} ({code})" for name in ("Payment", "Interest", "Principal", "Still owed")]
    rows = [
        [str(m), *(text(part[m]) for part in (found.payment, found.interest, found.principal,
                                               found.balance))]
        for m in range(last + 1)
    ]  # fmt: skip
    return ChartTable(["Month", *heads], rows)


def _reading(found: Repayments, look: Look) -> str:
    lent, cost = float(found.drawn.sum()), float(found.interest.sum())
    balance, payment = found.balance, found.payment
    peak = int(balance.argmax())
    half = peak + int(np.argmax(balance[peak:] <= balance[peak] / 2.0))
    owed = "The debt" if peak == 0 else f"From month {peak}, when most is owed, the debt"
    most, usual = int(payment.argmax()), float(np.median(payment[payment > 0.0]))
    said = f"the usual payment is {money_to_unit(usual, look)} a month"
    if payment[most] > 1.005 * usual:
        said += f", the largest {money_to_unit(payment[most], look)}, in month {most}"
    return (
        f"{found.name}: {money_to_unit(lent, look)} borrowed, {money_to_unit(cost, look)} of "
        f"interest in all, "
        f"{cost / lent:.0%} of it. {owed} is down to half by month {half}; {said}."
    )
