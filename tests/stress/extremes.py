"""Try every extreme study on everything that is asked of one, and print what does not come right.

    python tests/stress/extremes.py [plain | demo] [NAME …]

Of every study the figures, their second derivations, lender, stress cases, walk-away prices,
timing of purchases, chances, breaking points, workbook and lender's document. What is wrong: an
error that is none of ours, a number that is NaN or infinite though its field does not promise it,
a second derivation that differs, or a text with such a number. Ends in 1 where anything is.
"""

# ruff: noqa: T201, E402
from __future__ import annotations

import re
import sys
import time
import traceback
import warnings
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

warnings.simplefilter("error")
TESTS = Path(__file__).parents[1]
sys.path.insert(0, str(TESTS / "decision"))

from extreme_studies import extreme_changes, extreme_study, not_finite

from capex import appraise
from capex.decision.appraise import Appraisal
from capex.decision.audit.capacity_checks import capacity_checks
from capex.decision.audit.ledger_checks import ledger_checks
from capex.decision.audit.loan_checks import loan_checks
from capex.decision.audit.year_checks import year_checks
from capex.decision.cover import cover_volumes, lender_view_of
from capex.decision.crossover import volume_sweep
from capex.decision.lost_today import lost_today
from capex.decision.make_or_buy import make_or_buy
from capex.decision.ownership import ownership_cost
from capex.decision.risk.simulation import simulate
from capex.decision.risk.summary import risk_summary
from capex.decision.staging import purchase_timing
from capex.decision.stress import stress_test
from capex.decision.swings import swings
from capex.decision.verdict import verdict
from capex.decision.walk_away import walk_away_prices
from capex.errors import CapexError
from capex.study import Study, StudyFile, data_folder
from capex.views import tables
from capex.views.charts.picture import Look
from capex.views.documents.paper.bank_document import SECTIONS, bank_document
from capex.views.documents.paper.content import Letterhead
from capex.views.documents.paper.findings import lender_findings
from capex.views.documents.paper.typesetting import pdf
from capex.views.documents.workbook.document import workbook
from capex.views.wording import Currency

FILES = {
    "plain": TESTS / "decision" / "plain_shop.toml",
    "demo": data_folder() / "studies" / "quenlow.toml",
}
DAY = date(2027, 1, 4)
#: Timing tries every month as a scenario: of forty years, these.
MONTHS = (0, 12, 60, 120, 240, 479)


def wrong_numbers(text: str) -> list[str]:
    """Return where a text shows what is no number."""
    return re.findall(r".{0,30}(?<![\w-])(?:nan|-?inf)(?![\w-]).{0,20}", text, re.IGNORECASE)[:3]


def document(study: Study, key: str) -> list[str]:
    """Return what is wrong in the lender's document of a choice."""
    found = lender_findings(study, key, draws=32)
    made = bank_document(
        found, Look(study, "metric", Currency(study.currency)), made_on=DAY,
        letterhead=Letterhead(study.shop_name, ()), sections=SECTIONS, paper="a4",
    )  # fmt: skip
    pdf(made)
    return wrong_numbers(repr(made))


def shown(found: Appraisal) -> list[str]:
    """Return what is wrong in the tables of an appraisal."""
    every = (tables.headline_table(found), tables.measures_table(found), tables.notices(found),
             tables.verdict_text(found))  # fmt: skip
    return wrong_numbers(repr(every))


def second_derivations(study: Study, found: Appraisal) -> list[str]:
    """Return the figures that differ from their second derivation."""
    return [
        repr(check)
        for outcome in found.outcomes.values()
        for checks in (ledger_checks(outcome), loan_checks(outcome), capacity_checks(outcome),
                       year_checks(study, outcome))
        for check in checks
        if not check.holds
    ]  # fmt: skip


def timing(study: Study, key: str) -> list[str]:
    """Return what is wrong in the timing of the last machine bought."""
    places = [i for i, one in enumerate(study.alternatives[key].machines) if not one.owned]
    horizon = int(study.money.horizon.likely)
    months = [month for month in MONTHS if month < horizon]
    return not_finite(purchase_timing(study, key, places[-1], months))


def pieces(study: Study, found: Appraisal) -> Iterator[tuple[str, Callable[[], list[str]]]]:
    """Yield what is asked of a study, by name."""
    key, last = list(found.outcomes.items())[-1]
    yield "figures", lambda: not_finite([o.path.ledger for o in found.outcomes.values()])
    yield "second derivations", lambda: second_derivations(study, found)
    yield "tables", lambda: shown(found)
    yield "verdict and reasons", lambda: not_finite(verdict(found))
    yield "lender", lambda: not_finite([lender_view_of(o) for o in found.outcomes.values()])
    yield "stress cases", lambda: not_finite(stress_test(study))
    yield "walk-away prices", lambda: not_finite(walk_away_prices(study, key))
    yield "timing", lambda: timing(study, key)
    yield "volumes", lambda: not_finite((cover_volumes(study), volume_sweep(study, [0.5, 2.0])))
    yield "swings", lambda: not_finite(swings(study))
    yield "chances", lambda: not_finite(risk_summary(simulate(study, 32)))
    yield (
        "jobs and machines",
        lambda: not_finite((lost_today(found), make_or_buy(last), ownership_cost(last))),
    )
    yield "workbook", lambda: [] if workbook(study, key, DAY) else ["empty"]
    yield "document", lambda: document(study, key)


def tried(work: Callable[[], list[str]]) -> tuple[str, str]:
    """Return how a piece of work ended, and what was wrong."""
    try:
        found = work()
    except CapexError as error:
        return "reason", str(error)[:150]
    except Exception as error:
        last = traceback.extract_tb(error.__traceback__)[-1]
        where = f"{Path(last.filename).name}:{last.lineno}"
        return "WRONG", f"{type(error).__name__}: {error} ({where})"
    return ("WRONG", "; ".join(found[:3])) if found else ("right", "")


def main() -> int:
    """Print a line for whatever is not simply right, and the counts."""
    which = sys.argv[1] if len(sys.argv) > 1 else "plain"
    file, counts, slowest = StudyFile.read(FILES[which]), {}, (0.0, "")
    for name in sys.argv[2:] or extreme_changes(file):
        try:
            study = extreme_study(file, name)
            found = appraise(study)
        except CapexError as error:
            print(f"{name}: {error}")
            counts["refused"] = counts.get("refused", 0) + 1
            continue
        for piece, work in pieces(study, found):
            start = time.process_time()
            state, said = tried(work)
            slowest = max(slowest, (time.process_time() - start, f"{piece} of “{name}”"))
            counts[state] = counts.get(state, 0) + 1
            if state != "right":
                print(f"{name}, {piece}: {state}: {said}", flush=True)
    ended = ", ".join(f"{count} {state}" for state, count in counts.items())
    print(f"{which}: {ended}; longest: {slowest[1]}, {slowest[0]:.1f} s of processor time")
    return 1 if "WRONG" in counts else 0


if __name__ == "__main__":
    sys.exit(main())
