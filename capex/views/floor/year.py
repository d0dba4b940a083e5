"""A year of orders: what is simulated, in a thread of its own, and what comes of it.

May import: ipywidgets, and from capex errors, study, `shopfloor` and views.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from html import escape
from typing import Any, Final, get_args

import ipywidgets as widgets

from capex.errors import CapexError, InputError
from capex.shopfloor.operations import Role
from capex.shopfloor.year.compiled import warm
from capex.shopfloor.year.monthly_plan import monthly_plan
from capex.shopfloor.year.plan import Rule
from capex.shopfloor.year.simulated_year import Standstill, Year, simulated_year
from capex.shopfloor.year.undisturbed import undisturbed_year
from capex.study import Study
from capex.views.chart import Chart
from capex.views.floor.backlog_pictures import (
    Stop,
    backlog_picture,
    fullest,
    peak_words,
    queue_picture,
)
from capex.views.floor.boxes import Results, box, section, words
from capex.views.floor.fields import Field, Fields
from capex.views.floor.numbers import parse_number_between, parse_share, parse_whole
from capex.views.floor.state import Background, FloorState, Later
from capex.views.floor.working_days import day_name, days_of_month, first_days
from capex.views.floor.year_cards import (
    Outlook,
    Volume,
    orders_sentence,
    outlook,
    volume,
    year_card_html,
)
from capex.views.floor.year_pictures import lead_time_picture, states_height, states_picture
from capex.views.wording import month_name

__all__ = ["YearSection", "YearsFound", "years_found"]

_INTRODUCTION: Final = (
    "Every order of a year, one by one: when it comes, where it waits, who works on it, what "
    "breaks. What comes today comes alike with every choice, at the same moment and with the same "
    "luck; what a purchase brings comes beside it. One seed is one possible year; try others "
    "before you believe a small difference."
)
_RULES: Final[tuple[tuple[Rule, str], ...]] = (
    ("furthest_along", "furthest along"), ("first_come", "first come"),
    ("earliest_due", "due first"), ("shortest", "shortest step"),
)  # fmt: skip
_STOPS: Final = (("", "Nothing"), ("print", "The printer"), ("cut", "The knife"),
                 ("laminate", "The laminator"))  # fmt: skip
_OLD: Final = (
    "An entry above cannot be used. All below, greyed, is of the last years that were simulated."
)
_WHO: Final = {"machines": "Machines", "people": "People"}


@dataclass(frozen=True)
class _Asked:
    """What is to be simulated."""

    study: Study
    year: int
    seed: int
    standstill: Standstill | None
    stop: Stop | None


@dataclass(frozen=True)
class YearsFound:
    """A year of every alternative, without and with the breakdown.

    Parameters
    ----------
    years, broken : dict of str to Year
        By alternative; `broken` holds those that have what breaks.
    stop : Stop or None
    ahead : dict of str to Outlook
        What the month's plan says of each.
    volumes : dict of str to Volume
        What makes the year's orders more or fewer with each.
    unfailing : Year
        The year of the alternative with most work in the shop, had no machine failed.
    """

    years: dict[str, Year]
    broken: dict[str, Year]
    stop: Stop | None
    ahead: dict[str, Outlook]
    volumes: dict[str, Volume]
    unfailing: Year


def years_found(asked: _Asked) -> YearsFound:
    """Return the years that were asked for.

    Raises
    ------
    InputError
        A year, seed or breakdown that cannot be.
    """
    study, keys = asked.study, list(asked.study.alternatives)
    horizon = int(study.money.horizon.si[0])
    plans = {key: monthly_plan(study, key, horizon) for key in keys}
    years = {
        key: simulated_year(study, key, asked.year, asked.seed, plan=plans[key]) for key in keys
    }
    broken: dict[str, Year] = {}
    if asked.standstill is not None:
        for key in keys:
            try:
                broken[key] = simulated_year(
                    study, key, asked.year, asked.seed, asked.standstill, plans[key]
                )
            except InputError as error:
                if error.field != "standstill.role":  # this choice has no such machine
                    raise
    most = fullest(years)
    unfailing = undisturbed_year(study, most, asked.year, asked.seed, plans[most])
    ahead = {key: outlook(plan) for key, plan in plans.items()}
    volumes = {key: volume(plan, asked.year) for key, plan in plans.items()}
    return YearsFound(years, broken, asked.stop, ahead, volumes, unfailing)


class YearSection:
    """The section of the page on a year of orders.

    Parameters
    ----------
    state : FloorState
    later : callable, optional
        Takes the simulation.
    """

    def __init__(self, state: FloorState, later: Later | None = None) -> None:
        self._state = state
        self._later = later or Background()
        rules = state.study.shop.dispatching
        self._values = {
            "year": "1", "demand": "100", "seed": "1", "machine_rule": rules.machine_rule,
            "people_rule": rules.people_rule, "stop": "print", "month": str(_busiest(state.study)),
            "day": "8", "length": "3",
        }  # fmt: skip
        self._messages: dict[str, str] = {}
        self._found: YearsFound | None = None
        self._fields = Fields("The year", self._listed(), self._values,
                              state.guarded(self._changed))  # fmt: skip
        self._said, self._cards = words(), words(name="capex-cards")
        jobs = {"": "All orders"} | {key: job.name for key, job in state.study.jobs.items()}
        self._lead = Chart("How long do orders take?", 340, jobs, "Job type")
        self._states = Chart("What do machines and people do all day?", 420)
        self._backlog = Chart("What piles up, and after a breakdown?", 340, _WHO, "Work of")
        self._queue = Chart("How many orders wait, hour by hour?", 320, _WHO, "Waiting for")

        self._results = Results(
            self._cards,
            box("capex-columns", box("capex-card", self._lead), box("capex-card", self._queue)),
            box("capex-card", self._backlog),
            box("capex-card", self._states),
        )

    def view(self) -> widgets.Widget:
        """Return the section; its figures follow when they are worked out."""
        warm()
        self._state.follow(self._ask, "study")
        self._state.follow(self._draw, "units", "currency")
        for chart in (self._lead, self._backlog, self._queue):
            chart.observe(self._state.guarded(lambda _change: self._draw()), "choice")
        return section(
            "year", "A year of orders", _INTRODUCTION,
            box("capex-card", self._fields, self._said),
            self._results.panel,
        )  # fmt: skip

    def _listed(self) -> list[Field]:
        study = self._state.study
        years = -(-int(study.money.horizon.likely) // 12)
        months = [(str(m), month_name(study, m).rpartition(" of ")[0]) for m in range(1, 13)]
        never = self._values["stop"] == ""
        month = self._values["month"]
        days = days_of_month(study, int(month) if month in dict(months) else 1)
        return [
            Field("year", "Year after the decision", unit=f"of {years}", numeric=True),
            Field("demand", "Orders", unit="% of the study’s", numeric=True,
                  hint="To see what more or less work does to each choice."),
            Field("seed", "Luck (seed)", numeric=True,
                  hint="Any whole number: another one, another possible year."),
            Field("machine_rule", "Machines take first", "choice", options=_RULES,
                  hint="Of the orders that wait for a machine."),
            Field("people_rule", "People serve first", "choice", options=_RULES,
                  hint="Of the machines and orders that wait for a person."),
            Field("stop", "What breaks down", "choice", options=_STOPS,
                  hint="All that its machine does stops with it, in every choice. Work planned for "
                       "that machine waits, even where another could do it and stands idle; only "
                       "machines that one entry counts as several stand in for each other."),
            Field("month", "in", "choice", options=months, disabled=never),
            Field("day", "on", "choice", options=days, disabled=never,
                  hint="The shop’s working days as simulated, weeks from Monday on."),
            Field("length", "for", unit="working days", numeric=True, disabled=never),
        ]  # fmt: skip

    def _changed(self, key: str, text: str) -> None:
        self._values[key] = text
        self._ask()

    def _ask(self) -> None:
        """Check what stands in the fields and have it simulated; nothing waits for it."""
        self._messages = {}
        try:
            asked = self._asked()
        except InputError as error:
            self._messages[error.field] = f"{error.value!r} {error.bound}"
            self._results.hold(_OLD)
        else:
            names = len(asked.study.alternatives)
            self._said.value = (
                f"<p class='capex-note' role='status' aria-busy='true'>Simulating year "
                f"{asked.year} of {names} choices…</p>"
            )
            self._later(lambda: years_found(asked), self._take)
        self._fields.show(self._values, self._messages, self._listed())

    def _asked(self) -> _Asked:
        values, study = self._values, _with_rules(self._state.study, self._values)
        more = parse_share("demand", values["demand"], 10, 500)
        study = study.replaced({"levers.demand": study.levers.demand.likely * more})
        horizon = int(study.money.horizon.likely)
        year = parse_whole("year", values["year"], 1, -(-horizon // 12))
        seed = parse_whole("seed", values["seed"], 0, 1_000_000)
        if values["stop"] not in get_args(Role):
            return _Asked(study, year, seed, None, None)
        per_month = study.shop.hours.days_per_month.likely
        month = parse_whole("month", values["month"], 1, 12)
        day = parse_whole("day", values["day"], 1, max(1, int(per_month)))
        length = parse_number_between("length", values["length"], 0.1, 60.0)
        first = first_days(study)[month] + day - 1
        days = round(per_month * (min(12 * year, horizon) - 12 * (year - 1)))
        if first > days:
            raise InputError("month", month, f"the year ends after {days} working days")
        words_ = dict(_STOPS)[values["stop"]]
        said = f"{words_} stands for {length:g} days from {day_name(study, first)}, on"
        role: Any = values["stop"]
        return _Asked(study, year, seed, Standstill(role, first, length), Stop(said, first, length))

    def _take(self, result: Callable[[], YearsFound]) -> None:
        """Show what was simulated, or why it could not be; the last good years stay."""

        @self._state.watched
        def take() -> None:
            try:
                self._found = result()
            except CapexError as error:
                field = error.field.rpartition(".")[2] if isinstance(error, InputError) else ""
                place = field if field in self._values else "year"
                self._messages[place] = str(error)
                self._said.value = ""
                self._results.hold(_OLD)
                self._fields.show(self._values, self._messages, self._listed())
            else:
                self._results.hold()
                self._draw()

        take()

    def _draw(self) -> None:
        found, look = self._found, self._state.look
        if found is None:
            return
        first = next(iter(found.years.values()))
        self._said.value = (
            f"<p class='capex-note' role='status'>Year {first.year}, seed {first.seed}. "
            f"{escape(orders_sentence(found.years, found.volumes))}</p>"
        )
        self._cards.value = "".join(
            year_card_html(
                year, found.broken.get(key), found.stop is not None, found.ahead[key], look
            )
            for key, year in found.years.items()
        )
        self._lead.show(*lead_time_picture(found.years, look, self._lead.choice))
        who: Any = self._backlog.choice
        picture = backlog_picture(found.years, found.broken, found.stop, look, who)
        if who == "machines":
            why = peak_words(found.years, found.unfailing, look)
            picture = picture._replace(reading=f"{picture.reading} {why}")
        self._backlog.show(*picture)
        waiting: Any = self._queue.choice
        self._queue.show(*queue_picture(found.years, look, waiting))
        self._states.height = states_height(found.years)
        self._states.show(*states_picture(found.years, look))


def _busiest(study: Study) -> int:
    """Return the month of the year with the most orders, counted from the plan's start."""
    factors = [factor.likely for factor in study.shop.seasonality]
    return (factors.index(max(factors)) - (study.money.start.month - 1)) % 12 + 1


def _with_rules(study: Study, values: dict[str, str]) -> Study:
    """Return the study with the rules that stand in the fields."""
    rules = {key: values[key] for key in ("machine_rule", "people_rule")}
    for key, rule in rules.items():
        if rule not in get_args(Rule):
            raise InputError(key, rule, f"must be one of {', '.join(get_args(Rule))}")
    dispatching = study.shop.dispatching.model_copy(update=rules)
    return study.model_copy(
        update={"shop": study.shop.model_copy(update={"dispatching": dispatching})}
    )
