"""All headline figures of a study once more: which hold, which do not, which were left out.

Imports `capex.decision.appraise` and the files of this folder.
"""

from __future__ import annotations

from collections.abc import Iterator

from capex.decision.appraise import Appraisal, appraise
from capex.decision.audit.capacity_checks import capacity_checks
from capex.decision.audit.check import Check
from capex.decision.audit.ledger_checks import ledger_checks
from capex.decision.audit.loan_checks import loan_checks
from capex.decision.audit.year_checks import year_checks
from capex.study import Study

__all__ = ["audit"]


def audit(study: Study, found: Appraisal | None = None) -> Iterator[Check]:
    """Yield every check of every alternative, each as soon as it is made.

    Parameters
    ----------
    study : Study
        One scenario.
    found : Appraisal, optional
        Of the same study, what is to be checked.

    Yields
    ------
    Check
        Of measures, loans, the month's plan and the first simulated year; the workbook's formulas
        are checked where documents are made (`capex.views.audit`).

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> first = next(audit(study.replaced({"money.horizon": 37})))
    >>> first.figure, first.holds
    ('Net present value', True)
    """
    shown = appraise(study) if found is None else found
    for outcome in shown.outcomes.values():
        yield from ledger_checks(outcome)
        yield from loan_checks(outcome)
        yield from capacity_checks(outcome)
        yield from year_checks(study, outcome)
