"""What a plan of the room passes, asks and fails, in words.

May import: numpy, and from capex shopfloor, study, units and `views.charts.picture`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from html import escape
from typing import Final

import numpy as np

from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.floor import occupied_area
from capex.shopfloor.plan.findings import Finding
from capex.shopfloor.plan.floor_plan import FloorPlan
from capex.shopfloor.year.monthly_plan import monthly_plan
from capex.study import Study
from capex.units import quantity_text
from capex.views.charts.picture import Look

__all__ = ["area_sentence", "charged_area", "findings_html", "tally_html"]

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


def charged_area(study: Study, key: str) -> FloatArray:
    """Return the floor that the appraisal charges rent for at likely values, by month, (m,) [m²].

    Over the study's horizon, with every machine that waits for a load bought in its month.
    """
    months = int(study.money.horizon.likely)
    area: FloatArray = occupied_area(monthly_plan(study, key, months).study, key, months)[0]
    return area


def area_sentence(plan: FloorPlan, charged: FloatArray, look: Look) -> str:
    """Return the floor that machines take as they stand, and which floor the appraisal charges.

    Parameters
    ----------
    plan : FloorPlan
    charged : ndarray, (m,)
        Of `charged_area` [m²].
    look : Look
    """
    premises = look.study.shop.premises
    area = quantity_text(plan.area, "area", look.units, digits=3)
    said = f"{area} with clearances, overlaps counted once"
    if premises.room_already_paid:
        return f"{said}; the room is paid for already, so it costs nothing here."

    def rent(of: float) -> str:
        return f"{look.money(of * premises.rent.likely)} of rent a year"

    least, most = float(charged.min()), float(charged.max())
    low, high = (quantity_text(each, "area", look.units, digits=3) for each in (least, most))
    entered = f"{high}: {rent(most)}"
    if not np.isclose(least, most):
        entered = f"{low} ({rent(least)}) to {high} ({rent(most)}) as machines come and go"
    if not plan.by_hand:
        return (
            f"{said}: {rent(plan.area)} if they stood so, which is not in the appraisal. In the "
            f"appraisal: one row with backs to the wall, {entered}, at today's rent. Machines "
            "placed by hand are charged where they stand."
        )
    if np.isclose(least, most) and np.isclose(most, plan.area):
        return f"{said}: {rent(plan.area)}, at today's rent. This is in the appraisal."
    return f"{said}, with every machine there. In the appraisal: {entered}, at today's rent."


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
