"""The lender's figures in words and tables: the request, the thresholds, stress, repayment.

May import: numpy, and from capex decision, finance, study, `views.chart`, `views.charts.picture`
and `views.wording`.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np
import numpy.typing as npt

from capex.decision.cover import CoverVolume, VolumeReason
from capex.decision.outcome import Outcome
from capex.decision.stress import LenderFigures, StressTest
from capex.finance.coverage import RatioReason
from capex.study import Quantity, Study
from capex.views.bank.pictures import ratio_text
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look
from capex.views.wording import month_name

__all__ = ["cards_html", "repayment_table", "request_table", "stress_table", "threshold_sentence",
           "volume_sentences"]  # fmt: skip

_REQUEST = (
    ("purchase", "Machines"), ("sales_tax", "Sales tax on machines"),
    ("installation", "Freight and installation"),
    ("training", "Training"), ("sold", "Old machines sold or traded in"),
)  # fmt: skip


def request_table(outcome: Outcome, look: Look) -> ChartTable:
    """Return use and source of funds up to the last purchase; equity is what is left to pay.

    Of a leased machine the lessor pays the price; rents are no part of the request.
    """
    ledger = outcome.path.ledger
    keys = {line.key for line in ledger.lines}

    def line(key: str) -> npt.NDArray[np.float64]:
        return ledger.line(key)[0] if key in keys else np.zeros(1)

    used = {name: -float(line(key).sum()) for key, name in _REQUEST if key in keys}
    used["Fee of the loan"] = -float(line("loan_fee").sum())
    leased = "lease" in keys
    if leased:
        used["Fee of the lease"] = -float(line("lease_fee").sum())
    if "lease_deposit" in keys:
        used["Deposit of the lease"] = -float(np.minimum(line("lease_deposit"), 0.0).sum())
    total, drawn, lessor = sum(used.values()), float(line("loan").sum()), float(line("lease").sum())
    rows = [[name, look.money(value)] for name, value in used.items()]
    rows += [["To be paid for", look.money(total)], ["Of it by loan", look.money(drawn)]]
    if leased:
        rows.append(["Of it by the lessor", look.money(lessor)])
    rows.append(["Of it own money, rents apart" if leased else "Of it own money",
                 look.money(total - drawn - lessor)])  # fmt: skip
    return ChartTable(["Use and source of funds", "Amount"], rows)


def threshold_sentence(study: Study) -> str:
    """Return what the lender asks for, with where each figure comes from and its date."""
    asked = study.money.lender
    cover, value, cash = asked.minimum_cover, asked.highest_loan_to_value, asked.lowest_cash
    return (
        f"Asked for: repayment cover of {cover.likely:.2f} or more in every year "
        f"({_origin(cover)}), loan to value of {value.likely:.0%} or less ({_origin(value)}), and "
        f"never less than {cash.likely:,.0f} {study.currency} in the bank ({_origin(cash)}). They "
        "stand under money.lender in the study; ask your own lender."
    )


def _origin(quantity: Quantity) -> str:
    day = "" if quantity.on is None else f", {quantity.on.isoformat()}"
    note = f": {quantity.note}" if quantity.note else ""
    return f"{quantity.source}{day}{note}"


def cards_html(found: StressTest, key: str, look: Look) -> str:
    """Return the four figures that a lender looks at first."""
    figures = found.each[key]
    view = figures.view
    year, month, value = view.lowest_year, view.lowest_month, view.highest_loan_to_value
    facts = [
        ("Least cover of a year", ratio_text(year.ratio[0], year.reason[0]),
         _sign(figures.meets_cover[0]) + _in_year(int(year.when[0]), int(year.reason[0]))),
        ("Least cover of a month", ratio_text(month.ratio[0], month.reason[0]),
         _in_month(look, int(month.when[0]), int(month.reason[0]))),
        ("Highest loan to value",
         f"{value.ratio[0]:.0%}" if value.reason[0] == RatioReason.FOUND else "–",
         _sign(figures.meets_loan_to_value[0])
         + _in_month(look, int(value.when[0]), int(value.reason[0]))),
        ("Least cash at a month's end", look.money(view.lowest_cash[0]),
         _sign(figures.meets_cash[0])
         + _in_month(look, int(view.lowest_cash_month[0]), int(RatioReason.FOUND))),
    ]  # fmt: skip
    return "".join(
        f"<article class='capex-card'><h3>{escape(term)}</h3><p class='capex-figure'>"
        f"{escape(text)} <small>{escape(more)}</small></p></article>"
        for term, text, more in facts
    )


def _sign(met: bool) -> str:
    return "✓ met, " if met else "✗ not met, "


def _in_year(year: int, reason: int) -> str:
    return f"in year {year}" if reason == RatioReason.FOUND else RatioReason(reason).words


def _in_month(look: Look, month: int, reason: int) -> str:
    if reason != RatioReason.FOUND:
        return RatioReason(reason).words
    return f"in {month_name(look.study, month)}" if month > 0 else "on the day of decision"


def stress_table(found: StressTest, key: str, look: Look) -> ChartTable:
    """Return a row a stress case of one choice."""
    figures = found.each[key]
    return ChartTable(
        ["Case", "Gain over the baseline", "Least yearly cover", "Highest loan to value",
         "Least cash", "All asked for is met"],
        [_stress_row(found, figures, k, look) for k in range(len(found.cases))],
    )  # fmt: skip


def _stress_row(found: StressTest, figures: LenderFigures, k: int, look: Look) -> list[str]:
    view = figures.view
    cover, value = view.lowest_year, view.highest_loan_to_value
    missed = [
        name
        for name, met in (("cover", figures.meets_cover), ("loan to value",
                          figures.meets_loan_to_value), ("cash", figures.meets_cash))
        if not met[k]
    ]  # fmt: skip
    return [
        found.amounts.words[found.cases[k]],
        look.money(figures.gain[k]),
        ratio_text(cover.ratio[k], cover.reason[k]),
        f"{value.ratio[k]:.0%}" if value.reason[k] == RatioReason.FOUND else "–",
        look.money(view.lowest_cash[k]),
        "✓ yes" if not missed else f"✗ no: {', '.join(missed)}",
    ]


def volume_sentences(found: Sequence[CoverVolume], key: str) -> list[str]:
    """Return at what volume cover reaches each level asked about."""
    said = []
    for each in found:
        if each.key != key:
            continue
        if each.reason is VolumeReason.FOUND:
            said.append(
                f"Cover of {each.level:.2f} in every year from {each.volume:.0%} of the study's "
                "orders on" + ("." if each.stays else ", though not at every higher volume.")
            )
        else:
            said.append(f"Cover of {each.level:.2f}: {each.reason.words}.")
    return said


def repayment_table(outcome: Outcome, look: Look) -> ChartTable | None:
    """Return interest, repayment and what is still owed by project year; None without a loan."""
    ledger = outcome.path.ledger
    keys = {line.key for line in ledger.lines}
    if "principal" not in keys:
        return None
    horizon = int(outcome.horizon[0])
    drawn, interest, principal = (ledger.line(k)[0] for k in ("loan", "interest", "principal"))
    settled = ledger.line("loan_settled")[0] if "loan_settled" in keys else np.zeros_like(drawn)
    owed = (drawn + principal + settled).cumsum()
    rows = []
    for year in range(-(-horizon // 12)):
        first, last = (0 if year == 0 else 12 * year + 1), min(12 * (year + 1), horizon)
        part = slice(first, last + 1)
        rows.append([
            f"Year {year + 1}", look.money(drawn[part].sum()), look.money(-interest[part].sum()),
            look.money(-(principal + settled)[part].sum()), look.money(max(owed[last], 0.0)),
        ])  # fmt: skip
    return ChartTable(["", "Drawn", "Interest", "Repaid", "Still owed"], rows)
