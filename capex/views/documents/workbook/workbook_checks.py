"""The headline figures once more, by the workbook's formulas in a spreadsheet engine.

May import: `capex.decision` and, of this folder, `document` and `recalculation`.
"""

from __future__ import annotations

import io
import math
import subprocess
import tempfile
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Final

import openpyxl

from capex.decision.appraise import Appraisal
from capex.decision.audit.check import Check, Kind, skipped
from capex.decision.figures import FIGURES
from capex.decision.outcome import Outcome
from capex.views.documents.workbook.document import workbook
from capex.views.documents.workbook.recalculation import recalculated, spreadsheet_engine

__all__ = ["workbook_checks"]

_PATH: Final = "workbook formulas (LibreOffice)"
#: Share of a figure that is rounding; the engine's search for a rate of return stops earlier.
_ROUNDING, _RATE_ROUNDING = 1e-8, 1e-7
#: Figures that the workbook names, with their unit.
_FIGURES: Final[dict[str, Kind]] = {
    "gain": "money", "net_present_value": "money", "equivalent_annual_value": "money",
    "internal_rate_of_return": "rate", "payback_period": "years",
    "discounted_payback_period": "years", "lowest_cash": "money", "least_cover": "ratio",
    "highest_loan_to_value": "ratio",
}  # fmt: skip


def workbook_checks(found: Appraisal) -> Iterator[Check]:
    """Yield the checks of every alternative's workbook; one that says why, where none can be made.

    Parameters
    ----------
    found : Appraisal
        Of one scenario, with its details.
    """
    reason = "" if spreadsheet_engine() else "LibreOffice is not installed"
    files: dict[str, bytes] = {}
    if not reason:
        written = {key: workbook(found.study, key, date(2000, 1, 1)) for key in found.outcomes}
        try:
            with tempfile.TemporaryDirectory() as folder:
                files = recalculated(written, Path(folder))
        except (OSError, subprocess.SubprocessError) as error:
            reason = f"LibreOffice did not recalculate it: {type(error).__name__}"
    for key, outcome in found.outcomes.items():
        if reason:
            yield skipped(key, "Headline figures", _PATH, "money", reason)
        else:
            yield from _compared(outcome, files[key])


def _compared(outcome: Outcome, content: bytes) -> Iterator[Check]:
    """Yield the checks of one workbook's named cells; a text, or no cell, is no number."""
    book = openpyxl.load_workbook(io.BytesIO(content), data_only=True)
    for name, kind in _FIGURES.items():
        if FIGURES[name].incremental and outcome.baseline is outcome:
            continue
        reported = float(FIGURES[name].value(outcome)[0])
        value = None
        if f"headline.{name}" in book.defined_names:
            ((sheet, place),) = book.defined_names[f"headline.{name}"].destinations
            value = book[sheet][place.replace("$", "")].value
        number = float(value) if isinstance(value, (int, float)) else None
        shown = reported if math.isfinite(reported) else None
        allowed = (_RATE_ROUNDING if kind == "rate" else _ROUNDING) * max(1.0, abs(shown or 0.0))
        yield Check(outcome.key, FIGURES[name].title, _PATH, kind, shown, number, allowed)
