"""Plan against actual in words and tables: what differs and why, what to do now.

Plain text only; whoever shows it escapes it. May import: numpy, and from capex units, decision,
`views.chart`, `views.charts.picture` and `views.wording`.
"""

from __future__ import annotations

from typing import Final

from capex.decision.year_on import YearOn
from capex.decision.year_on.estimates import LEAST_FOR_TREND
from capex.decision.year_on.inputs import KINDS
from capex.decision.year_on.onward import Switch
from capex.decision.year_on.standing import Case
from capex.decision.year_on.variances import Compared
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, joined

__all__ = [
    "FIGURE_NAMES", "LIMITS", "again_sentences", "causes_sentence", "compared_table",
    "figure_text", "onward_sentences", "onward_table", "ratios_table", "year_on_data",
]  # fmt: skip

FIGURE_NAMES: Final = {
    "orders": "Orders", "sales": "Sales", "materials": "Materials", "bought_in": "Bought-in work",
    "wages": "Wages", "hours_paid": "Hours paid", "upkeep": "Upkeep of machines",
    "downtime": "Downtime",
}  # fmt: skip
_CAUSES: Final = {
    "volume": "more or fewer orders", "price": "prices", "cost": "cost an order",
    "hours": "hours paid", "rate": "wage rate",
}  # fmt: skip

#: What the estimates cannot tell.
LIMITS: Final = (
    "“10 to 90 %” is the range that holds the true ratio in eight cases of ten. The fewer months "
    "there are and the more they differ, the wider it is (Student interval). It takes the months "
    "as independent and alike; a shop that is still growing into its machine, or has lost a large "
    "customer, is neither.",
    "Orders that the plan itself could not make are not seen, and what was learned of upkeep and "
    "repairs is of the machines that were bought: those of the other choices stay as planned, "
    "which flatters them.",
    "What machines fetch today is read off the study's resale curve. Before selling, ask for an "
    "offer; what is still owed on them has to be paid either way.",
)


def figure_text(figure: str, value: float, look: Look) -> str:
    """Return a figure of a month or of several, rounded for reading."""
    if figure == "orders":
        return f"{value:,.0f}".replace("-", "−")
    if figure in ("hours_paid", "downtime"):
        digits = 0 if abs(value) >= 36_000 else 1
        return f"{value / 3600:,.{digits}f} h".replace("-", "−")
    return look.money(value)


def _signed(figure: str, value: float, look: Look) -> str:
    text = figure_text(figure, value, look)
    return f"+{text}" if value > 0 else text


def causes_sentence(found: Compared, look: Look) -> str:
    """Return what the difference of a figure comes of; empty where it is one cause."""
    if "all" in found.causes:
        return ""
    names = _CAUSES | ({"cost": "cost of upkeep"} if found.figure == "upkeep" else {})
    parts = [f"{_signed(found.figure, float(worth.sum()), look)} {names[cause]}"
             for cause, worth in found.causes.items()]  # fmt: skip
    return joined(parts)


def compared_table(found: YearOn, look: Look) -> ChartTable:
    """Return every figure over the months recorded: plan, actual, difference and its causes."""
    rows = []
    for figure, one in found.compared.items():
        plan, actual = float(one.plan.sum()), float(one.actual.sum())
        share = f"{(actual - plan) / plan:+.1%}".replace("-", "−") if plan > 0 else "none planned"
        rows.append([FIGURE_NAMES[figure], str(one.months.size), figure_text(figure, plan, look),
                     figure_text(figure, actual, look), _signed(figure, actual - plan, look),
                     share, causes_sentence(one, look)])  # fmt: skip
    heads = ["Figure", "Months", "Plan", "Actual", "Difference", "Share of plan", "Comes of"]
    return ChartTable(heads, rows)


def ratios_table(found: YearOn) -> ChartTable:
    """Return what was re-estimated: the ratio of actual to plan with its interval."""
    rows = []
    for key, one in found.ratios.items():
        between = "none" if one.low is None or one.high is None else (
            f"{one.low:.3f} to {one.high:.3f}")  # fmt: skip
        rows.append([KINDS[key], f"{one.value:.3f}", between, str(one.months), one.note])
    if found.trend is not None:
        one_year = found.trend
        used = "used" if one_year.counts else "not told from chance, so not used"
        rows.append(["Growth of orders a year, over the planned", f"{one_year.yearly:.3f}",
                     f"{one_year.low:.3f} to {one_year.high:.3f}",
                     str(found.compared["orders"].months.size), used])  # fmt: skip
    else:
        rows.append(["Growth of orders a year, over the planned", "as planned", "none",
                     str(found.compared["orders"].months.size),
                     f"needs {LEAST_FOR_TREND} months with orders"])  # fmt: skip
    return ChartTable(["Input", "Actual / plan", "10 to 90 %", "Months", "Note"], rows)


def again_sentences(found: YearOn, look: Look) -> list[str]:
    """Return whether the same would be decided again, the answer first."""
    standing, names = found.standing, look.names(found.standing.appraisal)
    seen = f"{found.months} month{'s' if found.months != 1 else ''}"
    best, lead = names[standing.best(1)], look.money(abs(standing.lead))
    if standing.holds:
        said = [f"The choice holds: with what {seen} have shown, {found.choice} would again leave "
                f"most, {lead} more than the next best."]  # fmt: skip
    else:
        said = [f"Not the same again: with what {seen} have shown, {best} would have left {lead} "
                f"more than {found.choice}."]  # fmt: skip
    if standing.best(0) != standing.choice:
        said.append(f"In the plan {names[standing.best(0)]} led already.")
    turned = [_case_words(case) for case in standing.turned_by]
    if turned:
        said.append(f"It is close: another choice leads {joined(turned)}.")
    else:
        said.append("No end of an interval below turns that.")
    return said


def _case_words(case: Case) -> str:
    if case.kind == "alike":
        return "if the machines of the other choices were off by as much as those that were bought"
    name = "growth" if case.kind == "growth" else KINDS[case.kind].lower()
    return f"at the {case.end} end of {name}"


def onward_sentences(found: YearOn, look: Look) -> list[str]:
    """Return what to do now, the answer first; what has been spent is no reason."""
    now = found.onward
    if now is None:
        return ["The horizon of the study is reached: nothing is left to decide."]
    if not now.switches:
        said = [f"Keep {found.choice}: there is nothing to go over to."]
    elif now.keep:
        said = [f"Keep {found.choice}: what has been spent is spent, and "
                f"{_switch_words(found, now.switches[0], look)}"]  # fmt: skip
    else:
        said = [f"Going over pays, on these figures: {_switch_words(found, now.switches[0], look)}"]
    for name, reason in now.closed.items():
        said.append(f"{name} is no way out: {reason}.")
    return said


def _ends(found: YearOn, one: Switch) -> tuple[float, float]:
    """Return the least and the greatest gain of all cases but the plan, which is known better."""
    rest = [float(gain) for case, gain in zip(found.standing.cases, one.gain, strict=True)
            if case.kind != "plan"]  # fmt: skip
    return min(rest), max(rest)


def _switch_words(found: YearOn, one: Switch, look: Look) -> str:
    gain = float(one.gain[1])
    way = "more" if gain > 0 else "less"
    low, high = (look.money(end) for end in _ends(found, one))
    money = ""
    if one.proceeds or one.outlay:
        money = (f"; selling brings about {look.money(one.proceeds)} and buying costs "
                 f"{look.money(one.outlay)}")  # fmt: skip
    return (f"going over to {one.name} today would leave {look.money(abs(gain))} {way} in today's "
            f"money (a gain from {low} to {high} over all cases){money}.")  # fmt: skip


def onward_table(found: YearOn, look: Look) -> ChartTable:
    """Return every choice that can be gone over to, from today on."""
    heads = ["From today", "More than keeping", "Least of all cases", "Most of all cases",
             "Sold for today", "Bought for today"]  # fmt: skip
    switches = found.onward.switches if found.onward is not None else ()
    rows = [[one.name, look.money(float(one.gain[1])),
             *(look.money(end) for end in _ends(found, one)),
             look.money(one.proceeds), look.money(one.outlay)] for one in switches]  # fmt: skip
    return ChartTable(heads, rows)


def year_on_data(found: YearOn) -> dict[str, object]:
    """Return the figures as plain data, in the study's currency, hours in seconds."""
    gains = found.standing.appraisal.net_present_value
    keys = list(found.standing.appraisal.outcomes)
    return {
        "choice": found.standing.choice,
        "months": found.months,
        "figures": {figure: {"months": one.months.tolist(), "plan": one.plan.tolist(),
                             "actual": one.actual.tolist(),
                             "causes": {name: worth.tolist() for name, worth in one.causes.items()}}
                    for figure, one in found.compared.items()},
        "ratios": {key: {"value": one.value, "low": one.low, "high": one.high, "note": one.note}
                   for key, one in found.ratios.items()},
        "inputs": dict(found.values),
        "cases": [{"case": f"{case.kind} {case.end}".strip(), "best": found.standing.best(row),
                   "gain": dict(zip(keys, gains[row].tolist(), strict=True))}
                  for row, case in enumerate(found.standing.cases)],
        "holds": found.standing.holds,
        "go_over": [] if found.onward is None else [
            {"to": one.key, "gain": float(one.gain[1]), "proceeds": one.proceeds,
             "outlay": one.outlay} for one in found.onward.switches],
    }  # fmt: skip
