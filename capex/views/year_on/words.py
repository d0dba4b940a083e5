"""Plan against actual in words and tables: what differs and why, what to do now.

Plain text only; whoever shows it escapes it. May import: numpy, and from capex units, study,
decision, `views.chart`, `views.charts.picture` and `views.wording`.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Final

from capex.decision.year_on import YearOn
from capex.decision.year_on.estimates import LEAST_FOR_TREND, Trend
from capex.decision.year_on.inputs import KINDS
from capex.decision.year_on.onward import Switch
from capex.decision.year_on.standing import Case
from capex.decision.year_on.variances import Compared
from capex.study.actuals import ActualMonth, last_day
from capex.study.places import MONTHS
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, joined

__all__ = [
    "FIGURE_NAMES", "LIMITS", "again_sentences", "causes_sentence", "compared_table",
    "figure_text", "onward_sentences", "onward_table", "ratios_table", "unfinished_sentence",
    "year_on_data",
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
        carried = key == "demand" and found.trend is not None and found.trend.counts
        used = _CARRIED if carried else f"used: {_USED[key]}"
        note = f"{one.note}; {used}" if one.note else used
        note = note[:1].upper() + note[1:]
        rows.append([KINDS[key], f"{one.value:.3f}", between, str(one.months), note])
    seen = found.compared["orders"].months.size
    trend = found.trend
    if trend is not None:
        rows.append(["Orders a year later, over the planned", f"{trend.yearly:.3f}",
                     f"{trend.low:.3f} to {trend.high:.3f}", str(seen),
                     _trend_words(trend, seen)])  # fmt: skip
    else:
        rows.append(["Orders a year later, over the planned", "as planned", "none", str(seen),
                     f"Not re-estimated: a trend needs {LEAST_FOR_TREND} months with orders; "
                     "orders grow as planned"])  # fmt: skip
    return ChartTable(["Input", "Actual / plan", "10 to 90 %", "Months", "Note"], rows)


#: What takes a ratio on where it is used, by kind of input.
_USED: Final = {
    "demand": "all orders from the first month on are the planned ones times this",
    "price": "all prices are the planned ones times this",
    "materials": "prices of films and inks and other direct cost are the planned ones times this",
    "bought_in": "all prices of bought-in work are the planned ones times this",
    "wages": "the wage is the planned one times this",
    "upkeep": "upkeep of the machines that were bought, power and insurance are times this",
    "repair": "the time to repair the machines that were bought is times this",
}
#: From which on a trend is no longer called one of few months (the figure is ours).
_MANY_MONTHS: Final = 24
_CARRIED: Final = "not used: the months show a trend, so that the last row takes its place"


def _trend_words(trend: Trend, months: int) -> str:
    """Return what the trend of the orders says, and why it is or is not used."""
    change = abs(trend.yearly - 1.0)
    way = "more" if trend.yearly > 1 else "fewer"
    if not trend.counts:
        return (f"Not used: {months} months that differ as these do show such a trend by chance "
                "more often than once in twenty times; orders grow as planned")  # fmt: skip
    few = f". {months} months are few for that: go by it only if you know why it is so"
    return (f"Used: against the plan, each year has {change:.0%} {way} orders than the one "
            "before. Chance alone shows that less than once in twenty times, so it is carried on "
            f"to the end of the plan, from {trend.start:.0%} of the planned orders at its "
            f"beginning{few if months < _MANY_MONTHS else ''}")  # fmt: skip


def unfinished_sentence(months: Sequence[ActualMonth], today: date) -> str:
    """Return that months are not over yet; empty where all are.

    Parameters
    ----------
    months : sequence of ActualMonth
        In their order.
    today : date

    Examples
    --------
    >>> months = [ActualMonth(month=month, orders=9) for month in ("2026-10", "2026-11", "2027-01")]
    >>> unfinished_sentence(months, date(2026, 11, 28))[:66]
    'November 2026 to January 2027 (2 of 3 months) are not over yet: to'
    >>> unfinished_sentence(months[:1], date(2026, 11, 28))
    ''
    """
    ahead = [month.month for month in months if last_day(month.month) >= today]
    if not ahead:
        return ""
    named = [f"{MONTHS[int(text[5:]) - 1]} {text[:4]}" for text in ahead]
    which = named[0] if len(named) == 1 else f"{named[0]} to {named[-1]}"
    now = f"{today.day} {MONTHS[today.month - 1]} {today.year}"
    one = len(named) == 1
    if ahead[0] > f"{today:%Y-%m}":
        lies = "lies in the future" if one else "lie in the future"
    else:
        lies = "is not over yet" if one else "are not over yet"
    return (
        f"{which} ({len(ahead)} of {len(months)} months) {lies}: today is {now}. What stands there "
        "is a guess, not what happened, and so is all that follows from it."
    )


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
    money = ""
    if one.proceeds or one.outlay:
        money = (f"; selling brings about {look.money(one.proceeds)} and buying costs "
                 f"{look.money(one.outlay)}")  # fmt: skip
    between = _between_words(*_ends(found, one), look)
    return (f"going over to {one.name} today would leave {look.money(abs(gain))} {way} in today's "
            f"money ({between} over all cases){money}.")  # fmt: skip


def _between_words(low: float, high: float, look: Look) -> str:
    """Return what lies between two gains, more and less said in words.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> from capex.views.wording import Currency
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> look = Look(study, "metric", Currency("USD"))
    >>> _between_words(-7990.0, -7040.0, look), _between_words(-500.0, 200.0, look)
    ('$7,040 to $7,990 less', 'from $500 less to $200 more')
    """
    least, most = look.money(abs(low)), look.money(abs(high))
    if low >= 0:
        return f"{least} to {most} more"
    if high <= 0:
        return f"{most} to {least} less"
    return f"from {least} less to {most} more"


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
