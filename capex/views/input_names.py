"""Names of inputs in words, so that each can be told from its name alone.

May import: `capex.errors` and `capex.study`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from capex.errors import Problem
from capex.study import Study
from capex.study.places import MONTHS

__all__ = ["input_name", "problem_place"]


#: Words for fields whose name alone does not say enough.
_FIELDS: Final = {
    "spoil_direct": "spoil cut straight after printing",
    "spoil_reloaded": "spoil of work loaded for cutting",
    "spoil_laminated": "spoil of laminated work",
    "laid_down": "ink laid down",
    "cleaning_share": "share of ink for cleaning",
    "mean_time_between_failures": "time between failures",
    "mean_time_to_repair": "time to repair",
    "on_cost_factor": "on-cost factor on wages",
    "recovered_demand": "turned-away work that comes back",
    "ramp_up": "ramp-up after a purchase",
    "media_waste": "waste of roll material",
    "discount_rate": "discount rate",
    "annual_rate": "loan rate",
    "month": "month of purchase",
    "sold_in_month": "month of sale",
    "trade_in": "trade-in",
    "interest_only_months": "months of interest only",
}

#: Names of inputs whose field alone says too little.
_PATHS: Final[Mapping[str, str]] = {
    "money.tax.rate": "tax rate",
    "money.tax.on_purchases": "sales tax on machines bought",
    "money.loan.share": "share of prices that the loan pays",
    "money.loan.fee": "loan fee",
    "money.loan.term": "term of the loan",
    "money.horizon": "horizon",
    "money.working_capital": "working capital, months of sales",
    "money.lender.minimum_cover": "least cover of a year that the lender asks for",
    "money.lender.lowest_cash": "least money in the bank that the lender asks for",
    "money.lender.owner_draws": "owner's draws a month",
    "money.lender.existing_debt_service": "service of debts there are already, a month",
    "money.escalation.prices": "yearly rise of selling prices",
    "money.escalation.materials": "yearly rise of material prices",
    "money.escalation.wages": "yearly rise of wages",
    "money.escalation.overheads": "yearly rise of overheads",
    "levers.demand": "demand, all job types",
    "levers.growth_shift": "growth, points more in all job types",
    "levers.price": "selling prices, all job types",
    "levers.print_rate": "print rate, all printers",
    "levers.cut_speed": "cut speed, all knives",
    "levers.machine_price": "prices of the machines bought",
    "levers.delay": "months by which bought machines start later",
    "levers.loan_rate_shift": "points added to the loan rate",
}


def input_name(study: Study, path: str) -> str:
    """Return a path of the study as words.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> input_name(study, "machines.mid_all_in_one.cutting.spoil_laminated")
    'spoil of laminated work (Mid all-in-one)'
    >>> input_name(study, "alternatives.keep.bought_in.sticker_sets")
    'bought-in share of Sticker sets (Keep things as they are)'
    >>> input_name(study, "alternatives.keep.machines.0.count")
    'count of Old roll printer (Keep things as they are)'
    >>> input_name(study, "machines.mid_all_in_one.resale_by_year.1")
    'resale after 2 years, share of its price (Mid all-in-one)'
    >>> input_name(study, "shop.seasonality.4")
    'orders of May, factor on the average month'
    """
    owners: Mapping[str, Mapping[str, object]] = {
        "machines": study.machines,
        "films": study.films,
        "inks": study.inks,
        "jobs": study.jobs,
        "alternatives": study.alternatives,
        "offers": study.offers,
    }
    if path in _PATHS:
        return _PATHS[path]
    head, *rest = path.split(".")
    last = rest[-1] if rest else head
    words = _place_words(path) or _FIELDS.get(last, last.replace("_", " "))
    if head not in owners or len(rest) < 2:
        return words
    if rest[1] == "bought_in":
        words = f"bought-in share of {study.jobs[last].name}"
    if head == "alternatives" and rest[1] == "machines":
        placement = study.alternatives[rest[0]].machines[int(rest[2])]
        words = f"{words} of {study.machines[placement.machine].name}"
    return f"{words} ({getattr(owners[head][rest[0]], 'name', rest[0])})"


def problem_place(problem: Problem) -> str:
    """Return where a problem of a study stands, as its owner calls it.

    Examples
    --------
    >>> problem_place(Problem("levers.price", 0, "must be greater than 0"))
    'selling prices, all job types'
    >>> problem_place(Problem("shop.people.wage", 0, "is missing"))
    'shop, people, wage'
    """
    return _PATHS.get(problem.path) or problem.place


def _place_words(path: str) -> str:
    """Return what an entry of a list is, where its place in the list says which; else nothing."""
    match path.split("."):
        case [*_, "seasonality", place]:
            return f"orders of {MONTHS[int(place)]}, factor on the average month"
        case ["money", "exchange_rates", code]:
            return f"{code} for one unit of the study's money, for display only"
        case [*_, "resale_by_year", place]:
            age = int(place) + 1
            return f"resale after {age} year{'s' if age > 1 else ''}, share of its price"
    return ""
