"""The audit of a study in words, a table and plain data.

May import: `capex.decision.audit`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

from capex.decision.audit.check import Check

__all__ = ["AUDIT_HEADINGS", "all_agree", "audit_data", "audit_rows", "audit_sentence"]

AUDIT_HEADINGS: Final = ("Figure", "Once more by", "As reported", "Apart by", "At most", "")
_NONE: Final = "none"


def _number(value: float | None, check: Check) -> str:
    """Return a figure in full, as a difference is looked for.

    Examples
    --------
    >>> payback = Check("a", "Payback", "loop", "years", 1.25, 1.25, 1e-6)
    >>> _number(1.25, payback), _number(math.inf, payback)
    ('1.250000 years', 'never')
    """
    if value is None:
        return _NONE
    if math.isinf(value):
        return "never"
    match check.kind:
        case "money" | "orders" | "hours":
            return f"{value:,.2f}" if check.kind == "money" else f"{value:,.3f} {check.kind}"
        case "rate" | "share":
            return f"{value:.6%}"
        case "ratio":
            return f"{value:,.6f}"
        case "years" | "days":
            return f"{value:,.6f} {check.kind}"


def _state(check: Check) -> str:
    if check.is_skipped:
        return "left out"
    return "agrees" if check.holds else "DIFFERS"


def audit_rows(checks: Sequence[Check]) -> list[tuple[str, ...]]:
    """Return a row a check, in the order of `AUDIT_HEADINGS`; amounts in the study's currency."""
    return [
        (
            each.figure,
            f"{each.path}: {each.reason}" if each.is_skipped else each.path,
            "" if each.is_skipped else _number(each.reported, each),
            "" if each.is_skipped else f"{each.difference:.1e}",
            "" if each.is_skipped else f"{each.tolerance:.1e}",
            _state(each),
        )
        for each in checks
    ]


def audit_sentence(checks: Sequence[Check]) -> str:
    """Return how many figures agree, differ and were left out, or that none was compared.

    Examples
    --------
    >>> audit_sentence([Check("a", "Payback", "loop", "years", 2.0, 2.5, 0.1)])
    '0 of 1 figures agree with their second derivation, 1 differs.'
    """
    made = [each for each in checks if not each.is_skipped]
    if not made:
        said = "No figure was compared with a second derivation, so none is known to be right"
        return f"{said}; {len(checks)} left out." if checks else f"{said}."
    wrong = sum(not each.holds for each in made)
    said = f"{len(made) - wrong} of {len(made)} figures agree with their second derivation"
    if wrong:
        said += f", {wrong} {'differs' if wrong == 1 else 'differ'}"
    left = len(checks) - len(made)
    return f"{said}; {left} left out." if left else f"{said}."


def all_agree(checks: Sequence[Check]) -> bool:
    """Return whether at least one figure was compared and every one that was agrees.

    Examples
    --------
    >>> all_agree([Check("a", "Payback", "loop", "years", 2.0, 2.0, 0.1)]), all_agree([])
    (True, False)
    """
    made = [each for each in checks if not each.is_skipped]
    return bool(made) and all(each.holds for each in made)


def audit_data(checks: Sequence[Check]) -> dict[str, Any]:
    """Return the checks as plain data, unrounded; what is infinite is None."""
    return {
        "agrees": all_agree(checks),
        "checks": [
            {
                "choice": each.choice,
                "figure": each.figure,
                "path": each.path,
                "unit": each.kind,
                "reported": _finite(each.reported),
                "recomputed": _finite(each.recomputed),
                "difference": None if each.is_skipped else _finite(each.difference),
                "tolerance": None if each.is_skipped else each.tolerance,
                "state": _state(each).lower(),
                "reason": each.reason,
            }
            for each in checks
        ],
    }


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None
