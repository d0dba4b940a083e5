"""Working days of a simulated year by name: weekday, day of the month, month.

May import: numpy, and from capex study, `shopfloor` and `views.wording`.
"""

from __future__ import annotations

from typing import Final

from capex.shopfloor.calendar import DAY
from capex.shopfloor.year.arrivals import year_calendar
from capex.study import Study
from capex.views.wording import month_name

__all__ = ["day_name", "days_of_month", "first_days", "weekdays"]

_NAMES: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def weekdays(study: Study) -> list[str]:
    """Return the weekday of each working day of a year, as simulated: weeks begin on Monday.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> weekdays(study)[:3], len(weekdays(study))
    (['Tuesday', 'Wednesday', 'Thursday'], 252)
    """
    calendar = year_calendar(study, 1, 12)
    opens = calendar.shifts.opens[calendar.first : calendar.first + calendar.days]
    return [_NAMES[int(wall // DAY) % 7] for wall in opens]


def first_days(study: Study) -> dict[int, int]:
    """Return the first working day of each month of a year, both counted from 1."""
    monthly = study.shop.hours.days_per_month.likely
    return {month: round((month - 1) * monthly) + 1 for month in range(1, 13)}


def days_of_month(study: Study, month: int) -> list[tuple[str, str]]:
    """Return the working days of a month: number and words.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> days_of_month(study, 5)[7]
    ('8', 'day 8, Monday')
    """
    names, first = weekdays(study), first_days(study)[month]
    count = max(1, int(study.shop.hours.days_per_month.likely))
    return [(str(day), f"day {day}, {names[first + day - 2]}")
            for day in range(1, count + 1) if first + day - 2 < len(names)]  # fmt: skip


def day_name(study: Study, day: int) -> str:
    """Return a working day of a year by its weekday and month.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> day_name(study, 92)
    'Monday, working day 8 of May'
    """
    month, first = max((m, f) for m, f in first_days(study).items() if f <= day)
    name = month_name(study, month).rpartition(" of ")[0]
    return f"{weekdays(study)[day - 1]}, working day {day - first + 1} of {name}"
