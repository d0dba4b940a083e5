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
from capex.shopfloor.plan.finding import Finding
from capex.shopfloor.plan.floor_plan import FloorPlan
from capex.shopfloor.year.monthly_plan import monthly_plan
from capex.study import Study
from capex.units import quantity_text
from capex.views.charts.picture import Look

__all__ = ["area_sentence", "charged_area", "findings_html", "placed_words", "tally_html"]

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


def placed_words(plan: FloorPlan) -> str:
    """Return who placed the machines, and that a search moves owned ones too."""
    if plan.by_hand:
        return "Placed by hand."
    if not plan.owned:
        return "Places found by search."
    names = ", ".join(plan.owned)
    return (
        f"Places found by search. What you have already ({names}) was moved too: to keep it where "
        "it stands, enter its place above."
    )


def area_sentence(
    plan: FloorPlan, charged: FloatArray, look: Look, until: FloatArray | None = None
) -> str:
    """Return the floor that machines take as they stand, and which floor the appraisal charges.

    Parameters
    ----------
    plan : FloorPlan
    charged : ndarray, (m,)
        Of `charged_area` [m²], with the machines where the plan has them.
    look : Look
    until : ndarray, (m,), optional
        Of the study as it was read, where the page has other places: what the appraisal charges
        until somebody takes the new file [m²].
    """
    premises = look.study.shop.premises
    area = quantity_text(plan.area, "area", look.units, digits=3)
    said = f"{area} with clearances, floor that two share counted once"
    if premises.room_already_paid:
        return f"{said}; the room is paid for already, so it costs nothing here."

    def rent(of: float) -> str:
        return f"{look.money(of * premises.rent.likely)} of rent a year"

    def entered(area: FloatArray) -> str:
        least, most = float(area.min()), float(area.max())
        low, high = (quantity_text(each, "area", look.units, digits=3) for each in (least, most))
        if np.isclose(least, most):
            return f"{high}: {rent(most)}"
        return f"{low} ({rent(least)}) to {high} ({rent(most)}) as machines come and go"

    fails = any(finding.status == "fail" for finding in plan.findings)
    if until is not None:
        now = f"the appraisal goes on with {entered(until)}, at today's rent"
        if fails:
            return f"{said}. This plan fails, so it is given no rent; {now}."
        return (
            f"{said}. In the appraisal, once you download the study with this room and start "
            f"capex with it: {entered(charged)}. Until then {now}."
        )
    if not plan.by_hand:
        return (
            f"{said}: {rent(plan.area)} if they stood so, which is not in the appraisal. In the "
            f"appraisal: one row with backs to the wall, {entered(charged)}, at today's rent. "
            "Machines that the study places are charged where they stand."
        )
    though = " The study places them so, though the plan fails." if fails else ""
    if np.allclose(charged, plan.area):
        return f"{said}: {rent(plan.area)}, at today's rent. This is in the appraisal.{though}"
    return (
        f"{said}, with every machine there. In the appraisal: {entered(charged)}, at today's "
        f"rent.{though}"
    )


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
