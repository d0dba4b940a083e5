"""Orders asked for and hours of the stations in a month, in plain Python numbers.

From the written model, one month and one place at a time, without the arrays of
`capex.shopfloor`. Months count from 1; the first scenario counts.

Imports `capex.study`.
"""

from __future__ import annotations

from capex.study import Alternative, Placement, Quantity, Study

__all__ = ["machine_rate", "machine_works", "orders_asked_for", "station_hours"]


def _value(quantity: Quantity) -> float:
    return float(quantity.si[0])


def _first_month(study: Study, place: Placement) -> float:
    """Return the month after which a machine works: what is bought may be held up."""
    held_up = 0.0 if place.owned else _value(study.levers.delay)
    return _value(place.month) + held_up


def machine_works(study: Study, place: Placement, month: int) -> bool:
    """Return whether a machine is there and works in a month."""
    sold = place.sold_in_month
    return month > _first_month(study, place) and (sold is None or month <= _value(sold))


def _brought(study: Study, choice: Alternative, name: str) -> float:
    """Return what a new machine brings: the alternative's own figure, else the shop's."""
    own: Quantity | None = getattr(choice, name)
    usual: Quantity = getattr(study.shop.after_purchase, name)
    return _value(usual if own is None else own)


def machine_rate(study: Study, choice: Alternative, place: Placement, month: int) -> float:
    """Return machines fit to run: number × availability × what the ramp-up leaves."""
    machine = study.machines[place.machine]
    if not machine_works(study, place, month):
        return 0.0
    up = _value(machine.mean_time_between_failures)
    rate = _value(place.count) * up / (up + _value(machine.mean_time_to_repair))
    rate *= 1 - _value(machine.minor_stop_share)
    if place.owned:
        return rate
    age = month - 0.5 - _first_month(study, place)
    span = _brought(study, choice, "ramp_up")
    way = 1.0 if age >= span else age / span
    start = _brought(study, choice, "ramp_up_start")
    return rate * (start + (1 - start) * way)


def orders_asked_for(study: Study, choice: Alternative, key: str, month: int) -> float:
    """Return the orders of a type asked for in a month, before customers stay away."""
    job, i = study.jobs[key], month - 1
    growth = 1 + _value(job.growth) + _value(study.levers.growth_shift)
    seasonality = job.seasonality or study.shop.seasonality
    season = _value(seasonality[(study.money.start.month - 1 + i) % 12])
    wanted = _value(job.orders_per_month) * _value(study.levers.demand)
    wanted *= float(growth ** (i / 12)) * season
    bought = [_first_month(study, place) for place in choice.machines if not place.owned]
    back = 0.0
    if bought:
        age, span = month - 0.5 - min(bought), _brought(study, choice, "ramp_up")
        back = 0.0 if age < 0 else 1.0 if age >= span else age / span
    return wanted * (1 + _brought(study, choice, "recovered_demand") * back)


def station_hours(
    study: Study, choice: Alternative, work: str, placement: int | None, month: int
) -> tuple[float, float]:
    """Return normal time of a station [s], and what it gains by a second of overtime [-].

    Parameters
    ----------
    study, choice
        The shop and the alternative.
    work : {"machine", "overnight", "operators", "finishers"}
    placement : int or None
        Place in the alternative's list; None for people.
    month : int
    """
    shift = study.shop.hours
    days = _value(shift.days_per_month)
    staffed = _value(shift.hours_per_day) - _value(shift.care_per_day)
    if placement is None:
        persons = _value(getattr(study.shop.people, work))
        return days * staffed * persons, persons
    place = choice.machines[placement]
    rate = machine_rate(study, choice, place, month)
    if work == "overnight":
        night = _value(shift.overnight_per_day) * _value(shift.overnight_completion)
        return days * night * rate, 0.0
    daily = staffed - _value(study.machines[place.machine].warm_up_time)
    return days * daily * rate, rate
