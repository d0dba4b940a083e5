"""The lender's figures in words and tables: which choice, stress, volume, repayment by year.

May import: numpy, and from capex decision, finance, study, `views.bank`, `views.chart`,
`views.charts.picture` and `views.wording`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from capex.decision.cover import CoverVolume, VolumeReason
from capex.decision.lender_limits import least_cash_after
from capex.decision.outcome import Outcome
from capex.decision.stress import StressTest
from capex.decision.verdict import Verdict
from capex.study import Study
from capex.views.bank.amounts import money_to_unit
from capex.views.bank.lender_words import cover_cell, loan_to_value_cell, mark
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look
from capex.views.wording import verdict_words

__all__ = ["choice_sentence", "nothing_borrowed", "opening_choice", "repayment_table",
           "stress_table", "volume_sentences"]  # fmt: skip


def opening_choice(verdict: Verdict, study: Study) -> str:
    """Return the choice that a request is most likely for: the best that is not the baseline."""
    return verdict.leading_beside(study.baseline)


def choice_sentence(found: StressTest, verdict: Verdict, key: str, look: Look) -> str:
    """Return which choice the page is about, and how it stands among the others."""
    names = look.names(found.appraisal)
    head = f"All that follows is for {names[key]}"
    if key == verdict.best:
        headline = verdict_words(found.appraisal, verdict, look.currency)[0]
        return f"{head}, the first of all choices. {headline}"
    behind = verdict.gains[0] - verdict.gains[verdict.ranking.index(key)]
    return f"{head}. {names[verdict.best]} comes first, with {look.money(behind)} more."


def stress_table(found: StressTest, key: str, look: Look) -> ChartTable:
    """Return a row a stress case of one choice, each test with its own tick or cross."""
    figures, view = found.each[key], found.each[key].view
    asked = found.appraisal.study.money.lender.lowest_cash.likely
    first, (later, _) = view.month_end_cash[:, 0], least_cash_after(view)
    # the cell that holds the least is judged as the engine judges it
    least_first = view.lowest_cash_month == 0
    first_met = np.where(least_first, figures.meets_cash, first >= asked)
    later_met = np.where(least_first, later >= asked, figures.meets_cash)
    baseline = found.appraisal.baseline.name
    return ChartTable(
        ["Case", f"Gain over “{baseline}”", "Least yearly cover", "Highest loan to value",
         "Cash on the day of decision", "Least cash after that day"],
        [
            [
                found.amounts.words[case],
                look.money(figures.gain[k]),
                cover_cell(figures, k),
                loan_to_value_cell(figures, k),
                f"{mark(first_met[k])} {look.money(first[k])}",
                f"{mark(later_met[k])} {look.money(later[k])}",
            ]
            for k, case in enumerate(found.cases)
        ],
    )  # fmt: skip


def volume_sentences(found: Sequence[CoverVolume], key: str, study: Study) -> list[str]:
    """Return at what volume, and how many orders, cover reaches each level asked about."""
    orders = sum(float(job.orders_per_month.likely) for job in study.jobs.values())
    said = []
    for each in found:
        if each.key != key:
            continue
        if each.reason is VolumeReason.NO_DEBT_SERVICE:
            return ["Nothing is due to a lender, so there is no cover at any volume."]
        if each.reason is VolumeReason.FOUND:
            said.append(
                f"Cover reaches {each.level:.2f} in every year from {each.volume:.0%} of the "
                f"orders that the study begins with: {each.volume * orders:,.0f} of {orders:,.0f} "
                "a month" + ("." if each.stays else ", though not at every higher volume.")
            )
        else:
            said.append(f"Cover of {each.level:.2f}: {each.reason.words}.")
    return said


def nothing_borrowed(outcome: Outcome) -> str:
    """Return that a choice borrows nothing, and where its rents stand if it leases."""
    leased = "rent" in {line.key for line in outcome.path.ledger.lines}
    more = "; what is leased stands in cover with its rents" if leased else ""
    return f"Nothing is borrowed for this choice{more}."


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
        amounts = (drawn[part].sum(), -interest[part].sum(), -(principal + settled)[part].sum(),
                   max(owed[last], 0.0))  # fmt: skip
        rows.append([f"Year {year + 1}", *(money_to_unit(each, look) for each in amounts)])
    return ChartTable(["", "Drawn", "Interest", "Repaid", "Still owed"], rows)
