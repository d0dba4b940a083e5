"""What a plan of the room passes, asks and fails, in words.

May import: from capex `shopfloor.plan`, study, units and `views.charts.picture`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from html import escape
from typing import Final

from capex.shopfloor.plan.findings import Finding
from capex.shopfloor.plan.floor_plan import FloorPlan
from capex.units import quantity_text
from capex.views.charts.picture import Look

__all__ = ["area_sentence", "findings_html", "tally_html"]

_ORDER: Final = ("fail", "ask", "pass")
_MARKS: Final = {
    "fail": ("capex-bad", "✕ fails"),
    "ask": ("capex-warn", "? ask"),
    "pass": ("capex-good", "✓ passes"),
}


def tally_html(plan: FloorPlan) -> str:
    """Return how many rules pass, must be asked about, and fail."""
    count = Counter(finding.status for finding in plan.findings)
    words = {"fail": "fail", "ask": "to ask", "pass": "pass"}
    said = "".join(
        f"<span class='{_MARKS[status][0]}'>{count[status]} {words[status]}</span>"
        for status in _ORDER
        if count[status] or status == "fail"
    )
    return f"<p class='capex-tally'>{said}</p>"


def area_sentence(plan: FloorPlan, look: Look) -> str:
    """Return the floor that machines take as they stand, and what that costs a year."""
    area = quantity_text(plan.area, "area", look.units, digits=3)
    premises = look.study.shop.premises
    said = f"{area} with clearances, overlaps counted once"
    if premises.room_already_paid:
        return f"{said}; the room is paid for already, so it costs nothing here."
    return f"{said}: {look.money(plan.area * premises.rent.likely)} of rent a year."


def findings_html(plan: FloorPlan, look: Look) -> str:
    """Return every finding with its rule, figures, source and caution; what fails comes first."""
    said = ""
    for status in _ORDER:
        found = [finding for finding in plan.findings if finding.status == status]
        rows = "".join(_row(finding, look) for finding in found)
        if rows:
            said += rows
    return f"<ul class='capex-findings'>{said}</ul>{_cautions(plan.findings)}"


def _row(finding: Finding, look: Look) -> str:
    style, mark = _MARKS[finding.status]
    source = f" <small>{escape(finding.locator)}</small>" if finding.locator else ""
    return (
        f"<li><span class='capex-status {style}'>{mark}</span> <span><strong>"
        f"{escape(finding.rule)}</strong>{source}<br>{escape(finding.sentence(look.units))}"
        f"</span></li>"
    )


def _cautions(findings: Sequence[Finding]) -> str:
    """Return each caution once, with the rules that it belongs to."""
    rules: dict[str, list[str]] = {}
    for finding in findings:
        named = rules.setdefault(finding.caution, [])
        if finding.rule not in named:
            named.append(finding.rule)
    items = "".join(
        f"<li><strong>{escape('; '.join(names))}.</strong> {escape(caution)}</li>"
        for caution, names in rules.items()
    )
    return f"<details><summary>Who decides, rule by rule</summary><ul>{items}</ul></details>"
