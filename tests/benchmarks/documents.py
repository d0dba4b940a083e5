"""Print how long the documents take to write, in one run.

    python tests/benchmarks/documents.py

Nothing is asserted: figures depend on the machine and on what else it does, so that the time that
this process itself had stands beside the clock's. Goals: the workbook of the demo
within 2 s, and the lender's document within 2 s where its 16,384 draws are at hand.
"""

# ruff: noqa: T201
from __future__ import annotations

import time
from collections.abc import Callable
from datetime import date

from capex.study import data_folder, read_study
from capex.views.charts.picture import Look
from capex.views.documents.paper.bank_document import bank_document
from capex.views.documents.paper.findings import LenderFindings, lender_findings
from capex.views.documents.paper.typesetting import pdf
from capex.views.documents.workbook.document import workbook
from capex.views.wording import Currency

DAY = date(2027, 1, 4)


def seconds(work: Callable[[], bytes], repeats: int = 3) -> tuple[float, float]:
    """Return the least time by the clock, and the least of this process, of a piece of work."""
    clock, own = [], []
    for _ in range(repeats):
        began, had = time.perf_counter(), time.process_time()
        work()
        clock.append(time.perf_counter() - began)
        own.append(time.process_time() - had)
    return min(clock), min(own)


def document(found: LenderFindings) -> bytes:
    """Return the lender's document; of what stands behind it only the draws are at hand."""
    again = lender_findings(found.study, simulation=found.simulation)
    look = Look(found.study, "metric", Currency(found.study.currency))
    return pdf(bank_document(again, look, made_on=DAY))


def main() -> None:
    """Print the times."""
    study = read_study(data_folder() / "studies" / "quenlow.toml")
    size = len(workbook(study, on=DAY))
    clock, own = seconds(lambda: workbook(study, on=DAY))
    print(f"workbook of the demo: {clock:.2f} s by the clock, {own:.2f} s of this process, "
          f"{size / 1024:.0f} KiB; goal 2 s")  # fmt: skip
    found = lender_findings(study)
    clock, own = seconds(lambda: document(found))
    print(f"document of the demo, {found.simulation.draws.count:,} draws at hand: {clock:.2f} s by "
          f"the clock, {own:.2f} s of this process; goal 2 s")  # fmt: skip


if __name__ == "__main__":
    main()
