"""What a simulated year comes to, choice by choice: orders, lateness, and where it chokes.

May import: numpy, and from capex decision, study, `shopfloor` and views.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from html import escape
from typing import Final

import numpy as np

from capex.decision.outcome import monthly_loads
from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.demand import demand, recovered
from capex.shopfloor.stations import start
from capex.shopfloor.year.monthly_plan import MonthlyPlan
from capex.shopfloor.year.simulated_year import Year
from capex.study import Study
from capex.views.charts.picture import Look, joined
from capex.views.palette import key_svg
from capex.views.wording import month_name

__all__ = [
    "Outlook",
    "Volume",
    "days_late",
    "orders_sentence",
    "outlook",
    "volume",
    "year_card_html",
]


@dataclass(frozen=True)
class Outlook:
    """What the month's plan says of a choice over the horizon.

    Parameters
    ----------
    planned : float
        The load that a station shall not pass, as a share of its hours.
    month, station, load
        The first month in which one does, the fullest station then and its load; None where none
        ever does.
    comes : tuple of (str, int)
        Machines that come later than the others: name, and the month in which each first works.
    """

    planned: float
    month: int | None
    station: str
    load: float
    comes: tuple[tuple[str, int], ...]

    def sentence(self, study: Study) -> str:
        """Return when and where the choice chokes, in words."""
        if self.month is None:
            return f"never above the planned {self.planned:.0%} within the horizon"
        when = month_name(study, self.month)
        return f"{self.station}: {self.load:.0%} of its hours asked for in {when}"


def outlook(plan: MonthlyPlan) -> Outlook:
    """Return what the month's plan says of one alternative, month 1 to its last."""
    study = plan.study
    planned = study.shop.planned_load.likely
    loads = monthly_loads(plan.output)[0]
    full = np.flatnonzero((loads > planned).any(axis=0))
    comes = tuple(
        (study.machines[placement.machine].name, int(start(study, placement)[0]) + 1)
        for placement in plan.alternative.machines
        if not placement.owned
    )
    first = min((month for _, month in comes), default=0)
    later = tuple((name, month) for name, month in comes if first < month <= loads.shape[1])
    if not full.size:
        return Outlook(planned, None, "", 0.0, later)
    month = int(full[0])
    place = int(loads[:, month].argmax())
    station = plan.routes.stations[place].name
    return Outlook(planned, month + 1, station, float(loads[place, month]), later)


def days_late(found: Year, study: Study) -> FloatArray:
    """Return working days beyond the promise of each order that is late and was finished."""
    usual = study.shop.promises.lead_time
    promised = np.array([(job.promised_lead_time or usual).likely for job in study.jobs.values()])
    late = found.late & np.isfinite(found.lead_time)
    return np.asarray(found.lead_time[late] - promised[found.job[late]])


@dataclass(frozen=True)
class Volume:
    """What makes a year's orders more or fewer with one choice than today, by the month's plan.

    Parameters
    ----------
    back, lost : float
        Orders expected in the year that come back after a purchase, and of customers who were
        refused before and stay away.
    """

    back: float
    lost: float


def volume(plan: MonthlyPlan, year: int) -> Volume:
    """Return what moves the orders of a year of one alternative, from 1."""
    months = plan.output.demand.shape[2]
    span = slice(12 * year - 12, min(12 * year, months))
    today = demand(plan.study, plan.mix, months)[0, :, span]
    back = today * (recovered(plan.study, plan.alternative, months)[0, span] - 1.0)
    return Volume(float(back.sum()), float((today + back - plan.output.demand[0, :, span]).sum()))


#: An expected order that counts as a difference between two choices (the figure is ours).
_AN_ORDER: Final = 0.01


def orders_sentence(years: Mapping[str, Year], volumes: Mapping[str, Volume]) -> str:
    """Return how many orders come with each choice, and why they differ."""
    came: dict[int, list[str]] = {}
    for found in years.values():
        came.setdefault(int(found.came.sum()), []).append(found.name)
    reasons = [
        words
        for part, words in (
            ("back", "work turned away today that comes back after a purchase"),
            ("lost", "customers lost for good because they were refused before"),
        )
        if np.ptp([getattr(each, part) for each in volumes.values()]) > _AN_ORDER
    ]
    if len(came) == 1:
        same = "" if reasons else "The same "
        return f"{same}{next(iter(came)):,} orders come with every choice, with the same luck."
    parts = [f"{count:,} orders come with {joined(names)}" for count, names in came.items()]
    return (
        f"The same customers and the same luck for every choice: {'; '.join(parts)}. The "
        f"difference is {joined(reasons)}."
    )


_OVERTIME: Final = (
    "by the month’s plan, as in the ledger; the year works no more, and only on days with too "
    "much work waiting"
)


def year_card_html(
    found: Year, broken: Year | None, stopped: bool, ahead: Outlook, look: Look
) -> str:
    """Return the card of one choice.

    Parameters
    ----------
    found, broken : Year
        Without and with the breakdown; None where the choice has nothing that breaks.
    stopped : bool
        Whether a breakdown is placed.
    ahead : Outlook
    look : Look
    """
    share, of = f"{found.on_time:.1%}", "of orders done as promised, without any breakdown placed"
    if not found.job.size:
        share, of = "–", "nothing is made in the house in this year"
    facts = [
        ("Orders that come", f"{int(found.came.sum()):,}", _where(found)),
        ("Chokes first at", _station(ahead), ahead.sentence(look.study)),
        ("Overtime paid for", f"{found.overtime_paid:.0f} h", _OVERTIME),
    ]
    facts += [
        (f"{name} works from", month_name(look.study, month), "until then it is not there")
        for name, month in ahead.comes
    ]
    rows = "".join(
        f"<dt>{escape(term)}</dt><dd>{escape(value)}<small>{escape(more)}</small></dd>"
        for term, value, more in facts
    )
    return (
        f"<article class='capex-card'><h3>{key_svg(look.styles[found.key])}{escape(found.name)}"
        f"</h3><p class='capex-figure'>{share} <small>{of}</small></p>"
        f"{_both_html(found, broken, stopped, look.study)}"
        f"<dl class='capex-facts'>{rows}</dl></article>"
    )


def _station(ahead: Outlook) -> str:
    return "nothing" if ahead.month is None else ahead.station


def _where(found: Year) -> str:
    parts = [(found.job.size, "made in the house"), (int(found.bought_in.sum()), "bought in"),
             (int(found.refused.sum()), "refused")]  # fmt: skip
    return ", ".join(f"{count:,} {word}" for count, word in parts if count) or "none"


def _both_html(found: Year, broken: Year | None, stopped: bool, study: Study) -> str:
    """Return how late orders get without and with the breakdown, in two headed columns."""
    heads = ["Without", "With"] if stopped else ["In the year"]
    columns = [_lateness(found, study)]
    if stopped:
        columns.append(_lateness(broken, study) if broken is not None else ["–"] * 5)
    names = ["Done as promised", "Orders late", "Latest (working days late)", "Overtime worked (h)",
             "Not finished when counting ended"]  # fmt: skip
    top = "".join(f"<th scope='col'>{head}</th>" for head in heads)
    rows = "".join(
        f"<tr><th scope='row'>{name}</th>{''.join(f'<td>{each}</td>' for each in values)}</tr>"
        for name, *values in zip(names, *columns, strict=True)
    )
    none = "<p class='capex-note'>It has nothing that stops.</p>" * (stopped and broken is None)
    head = f"<tr><th scope='col'>{'Breakdown' if stopped else ''}</th>{top}</tr>"
    return f"<table class='capex-pair'><thead>{head}</thead><tbody>{rows}</tbody></table>{none}"


def _lateness(found: Year, study: Study) -> list[str]:
    beyond = days_late(found, study)
    return [
        f"{found.on_time:.1%}" if found.job.size else "–",
        f"{int(found.late.sum()):,}",
        f"{beyond.max():.1f}" if beyond.size else "–",
        f"{found.overtime:.0f}",
        f"{found.unfinished:,}",
    ]
