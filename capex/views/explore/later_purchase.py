"""The part on a machine that is bought later: which one it is, and what waiting is worth.

Texts that come from a user are escaped here. May import: the standard library, and from capex
study, `decision.risk.freedom`, `views.chart`, `views.charts.picture`, `views.risk` and
`views.floor.boxes`.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

from capex.decision.risk.freedom import Freedom
from capex.study import Study
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look
from capex.views.floor.boxes import table_html
from capex.views.risk import chance_text

__all__ = ["LaterPurchase", "bought_later", "waiting_html"]


@dataclass(frozen=True)
class LaterPurchase:
    """A machine that an alternative buys after the day of decision.

    Parameters
    ----------
    key : str
        Of the alternative.
    place : int
        Of the machine in its list.
    introduction : str
        What the part answers.
    """

    key: str
    place: int
    introduction: str


def bought_later(study: Study) -> LaterPurchase | None:
    """Return the first machine of a study that is bought later, by a month or by a load.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> found = bought_later(read_study(data_folder() / "studies" / "quenlow.toml"))
    >>> found.key, found.place
    ('staged', 1)
    """
    places = [
        (key, place, one)
        for key, choice in study.alternatives.items()
        for place, one in enumerate(choice.machines)
        if not one.owned and (one.month.likely > 0 or one.when_load_passes is not None)
    ]
    if not places:
        return None
    key, place, one = places[0]
    name, choice = study.machines[one.machine].name, study.alternatives[key].name
    said = (
        f"Whether and when “{choice}” buys {name}, decided at the end of each year instead of "
        "today. All is supposed to be known by the first of those years: it is the most that "
        "waiting brings."
    )
    if one.when_load_passes is not None:
        said += " Months take the place of the load that sets the purchase off in the study."
    horizon = study.money.horizon
    if horizon.low != horizon.high:
        said += " As the horizon is uncertain, only years before the shortest one drawn count."
    if len(places) > 1:
        said += " Other machines bought later stay at their dates."
    return LaterPurchase(key, place, said)


def waiting_html(found: Freedom, look: Look, draws: int) -> str:
    """Return what deciding later is worth, what is best today, and how often each option is best.

    Parameters
    ----------
    found : Freedom
    look : Look
    draws : int
        How many.
    """
    today = found.fixed not in found.later
    if found.worth.value > 0.0:
        worth = f"at most {look.money(found.worth.value)} ± {look.money(found.worth.error)}"
    elif today:
        worth = "nothing here: it costs more than knowing everything would bring"
    else:
        worth = "nothing here: no draw says otherwise than what is best today"
    best = "never to buy it" if found.fixed is None else f"to buy it {_date(found, found.fixed)}"
    said = (
        f"Deciding later on {found.machine} is worth {worth}. Best on average if it had to be "
        f"decided today: {best}. {draws} draws, seed {look.study.uncertainty.seed}."
    )
    rows = [
        [_date(found, month), chance_text(share)]
        for month, share in zip(found.months, found.shares, strict=True)
    ]
    table = ChartTable(["Buy it", f"Best in this share of {draws} draws"], rows)
    return f"<p>{escape(said)}</p>" + table_html(table, "When it is best")


def _date(found: Freedom, month: int | None) -> str:
    if month is None:
        return "never"
    if month == 0:
        return "today"
    said = f"in month {month}" if month % 12 else f"after year {month // 12}"
    return f"{said} (as in the study)" if month == found.own else said
