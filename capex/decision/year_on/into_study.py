"""The re-estimated inputs as entries of a study file, measured, with the day they rest on.

Imports `capex.study` and, of this folder, `inputs` and `looking_back`.
"""

from __future__ import annotations

from typing import Final

from capex.decision.year_on.inputs import inputs_of
from capex.decision.year_on.looking_back import YearOn
from capex.study import Quantity, StudyFile
from capex.study.actuals import last_day
from capex.units import quantity_text

__all__ = ["re_estimated"]

#: Of the entries written: more than was measured, so that the figures of the page come again.
_DIGITS: Final = 9

#: Kinds whose one input is what was measured; the ratio of the others moves many.
_ALONE: Final = ("demand", "price", "wages")


def re_estimated(file: StudyFile, found: YearOn) -> StudyFile:
    """Return the file with what the months seen say in the place of what was assumed.

    Parameters
    ----------
    file : StudyFile
        With the actuals; comments stay.
    found : YearOn
        Of its study.

    Returns
    -------
    StudyFile
        Inputs that move are tagged measured, with the last day of the last month. One that was
        measured alone gets the interval for its low and high, where there is one; any other keeps
        its spread in proportion. The actuals stay: against the new plan they are as planned.

    Raises
    ------
    StudyError
        An input leaves its bounds.
    """
    study, records = file.study, file.study.actuals
    if records is None or not records.months:
        return file
    on = last_day(records.months[-1].month)
    note = f"re-estimated from {len(records.months)} months"
    ends = {}
    for key in _ALONE:
        one = found.ratios.get(key)
        counts = key == "demand" and found.trend is not None and found.trend.counts
        if one is not None and one.low is not None and one.high is not None and not counts:
            (path,) = inputs_of(study, key)
            ends[path] = (one.low / one.value, one.high / one.value)
    changes: dict[str, object] = {}
    for path, value in found.values.items():
        quantity = study.quantity(path)
        if value != quantity.likely:
            entry = _entry(quantity, value, study.currency, ends.get(path))
            changes[path] = entry | {"source": "measured", "date": on, "note": note}
    return file.changed(changes) if changes else file


def _entry(
    quantity: Quantity, value: float, currency: str, ends: tuple[float, float] | None
) -> dict[str, object]:
    """Return value and spread: the interval, or what the spread was, in proportion."""
    if ends is not None:
        spread: dict[str, object] = {"distribution": "lognormal"}  # ends at 10 and 90 %
        low, high = value * ends[0], value * ends[1]
    elif quantity.low is not None and quantity.high is not None:
        spread = {"distribution": quantity.distribution}
        if quantity.chances is not None:
            spread["chances"] = list(quantity.chances)
        low, high = _moved(quantity, quantity.low, value), _moved(quantity, quantity.high, value)
    else:
        return {"value": _text(quantity, value, currency)}
    three = {"low": low, "likely": value, "high": high}
    return {name: _text(quantity, one, currency) for name, one in three.items()} | spread


def _moved(quantity: Quantity, end: float, value: float) -> float:
    """Return an end of a spread that goes with its likely value: in proportion, or by as much."""
    likely = quantity.likely
    share = quantity.entry.ends[0] >= 0.0 and likely > 0
    return end * value / likely if share else end + value - likely


def _text(quantity: Quantity, value: float, currency: str) -> str:
    text = quantity_text(value, quantity.entry.kind, "metric", currency, _DIGITS)
    return text.replace(",", "")  # of thousands
