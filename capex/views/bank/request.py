"""The request: what the money is for, who pays it, and on what terms.

May import: numpy, and from capex decision, finance, study, `views.bank`, `views.chart`,
`views.charts.picture` and `views.wording`.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.outcome import Outcome
from capex.views.bank.amounts import amount_text, money_to_unit, whole_amount
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, joined
from capex.views.wording import month_name

__all__ = ["request_notes", "request_table"]

#: Lines that are paid up to the last purchase, and those due at once on the day of decision.
_USES: Final = (
    ("purchase", "Machines"), ("sales_tax", "Sales tax on machines"),
    ("installation", "Freight and installation"), ("training", "Training"),
    ("loan_fee", "Fee of the loan"), ("lease_fee", "Fee of the lease"),
    ("lease_deposit", "Deposit of the lease"),
)  # fmt: skip
_AT_ONCE: Final = (
    ("rent", "Rents due on the day of decision"),
    ("interest", "Interest due on the day of decision"),
    ("principal", "Repayment due on the day of decision"),
)
_SOURCES: Final = (
    ("sold", "Of it by old machines sold or traded in"), ("loan", "Of it by loan"),
    ("lease", "Of it by the lessor"),
)  # fmt: skip


def _line(outcome: Outcome, key: str) -> npt.NDArray[np.float64]:
    """Return a line by month; one that the choice has not got is zeros."""
    ledger = outcome.path.ledger
    if key in {line.key for line in ledger.lines}:
        return np.asarray(ledger.line(key)[0])
    return np.zeros(ledger.table.shape[2])


def _purchases(outcome: Outcome) -> npt.NDArray[np.intp]:
    """Return the months in which machines are bought, or leased."""
    return np.flatnonzero(_line(outcome, "purchase"))


def request_table(outcome: Outcome, look: Look) -> ChartTable:
    """Return uses and sources of funds up to the last purchase; own money is what is left to pay.

    Of a leased machine the lessor pays the price. Rows are whole units and add up as they stand.
    """
    last = int(_purchases(outcome).max(initial=0))
    uses, sources = [], []
    for key, name in _USES:
        paid = np.minimum(_line(outcome, key)[: last + 1], 0.0)  # a deposit that comes back is none
        uses.append((name, whole_amount(-float(paid.sum()), look)))
    for key, name in _AT_ONCE:
        uses.append((name, whole_amount(-float(_line(outcome, key)[0]), look)))
    for key, name in _SOURCES:
        sources.append((name, whole_amount(float(_line(outcome, key)[: last + 1].sum()), look)))
    total = sum(value for _, value in uses)
    own = total - sum(value for _, value in sources)
    rows = [(name, value) for name, value in uses if value or name == _USES[0][1]]
    rows.append(("To be paid for", total))
    rows += [(name, value) for name, value in sources if value or name == _SOURCES[1][1]]
    rows.append(("Of it own money", own))
    return ChartTable(
        ["Use and source of funds", f"Amount ({look.currency.code})"],
        [[name, amount_text(value, look)] for name, value in rows],
    )


def request_notes(outcome: Outcome, baseline: Outcome, look: Look) -> list[str]:
    """Return what of the request falls due later, and what is left out of it."""
    months = [int(month) for month in _purchases(outcome)]
    said = []
    later = [month for month in months if month > 0]
    if later:
        prices = -_line(outcome, "purchase")
        parts = [f"{money_to_unit(prices[m], look)} in {month_name(look.study, m)}" for m in later]
        said.append(f"Of the machines, those for {joined(parts)} are bought later.")
    if _line(outcome, "rent").any():
        said.append("Rents that fall due later are no part of the request; cover counts them.")
    return [*said, _working_capital(outcome, baseline, look)]


def _working_capital(outcome: Outcome, baseline: Outcome, look: Look) -> str:
    """Return how much working capital is tied up in the first year, beyond what is today."""
    horizon = min(12, int(outcome.horizon[0]))
    tied, without = (
        -_line(each, "working_capital")[: horizon + 1].cumsum() for each in (outcome, baseline)
    )
    most = int(tied.argmax())
    if tied[most] <= 0.0:
        return "Working capital is no part of the request: none more than today is tied up."
    more = "" if outcome is baseline else (
        f" ({money_to_unit(tied[most] - without[most], look)} of it because of this choice, against"
        f" “{baseline.name}”)"
    )  # fmt: skip
    return (
        "Working capital is no part of the request: it is paid out of the money in the bank, "
        f"at most {money_to_unit(tied[most], look)} more than today in the first year, in "
        f"{month_name(look.study, most)}{more}."
    )
