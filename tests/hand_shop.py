"""A shop with round figures, whose times and money can be worked out by hand.

One order is 4 pieces of 0.5 × 0.5 m: two across a roll with 1 m usable width, two rows, so
1 m × 1 m printed. Printing at 4 passes: 1 m · 4/0.1 m = 40 swaths + 3 = 43, each
(1 m + 2 · 0.25 m)/(1 m/s) + 0.5 s = 2 s, so PRINT = 86 s. A contour of 2 m in 4 segments:
each 0.5 m/(1 m/s) + (1 m/s)/(8 m/s²) = 0.625 s, so 2.5 s and 0.1 s for the lift; CUT = 10.4 s
for 4 pieces. Handling takes the defaults, and two orders share a set-up.
"""

from __future__ import annotations

from copy import deepcopy
from typing import Any

from capex.study import Study

PRINT = 43 * 2.0
CUT = 4 * (4 * 0.625 + 0.1)
LOAD = (3 * 60 + 1.5 * 60) / 2 + 6 * 60 * 1.0 / 50.0
DRY = 6 * 60.0
REWIND = 60.0
MARKS = 6.0
RELOAD = 4 * 60 / 2
TAKE_OFF = 2 * 60.0
LAMINATE = 6 * 60 / 2 + 60.0
WEED, FINISH, PACK = 300.0, 120.0, 180.0

_ENGINE = {
    "print_width": "1 m", "swath_height": "0.1 m", "carriage_speed": "1 m/s", "turn_time": "0.5 s",
    "overrun": "250 mm", "ink": "ink",
}  # fmt: skip
_KNIFE = {
    "cut_width": "1 m", "set_speed": "1 m/s", "acceleration": "8 m/s²", "lift_time": "0.1 s",
    "spoil_direct": 0, "spoil_reloaded": 0, "spoil_laminated": 0,
}  # fmt: skip
_MACHINE = {
    "price": 10000, "service": "0 USD/year", "mean_time_between_failures": "900 h",
    "mean_time_to_repair": "100 h", "length": "2 m", "depth": "1 m", "clearance_front": "1 m",
    "clearance_rear": "0.5 m", "clearance_end": "0.5 m", "resale_by_year": [0.6, 0.5, 0.4],
}  # fmt: skip
_JOB = {
    "orders_per_month": 10, "pieces_per_order": 4, "width": "0.5 m", "height": "0.5 m",
    "film": "vinyl", "passes": 4,
    "cut": {"kind": "path", "length": "2 m", "segments": 4, "lifts": 1},
    "weeding_time": "5 min", "finishing_time": "2 min", "packing_time": "3 min", "price": 100,
}  # fmt: skip

_MAPPING: dict[str, Any] = {
    "shop_name": "A shop worked out by hand",
    "currency": "USD",
    "shop": {
        "hours": {"days_per_month": 20, "hours_per_day": "8 h", "care_per_day": "0 h"},
        "people": {"operators": 1, "finishers": 1, "wage": "20 USD/h"},
        "handling": {"orders_per_run": 2, "piece_gap": "0 mm", "printing_spoil": 0,
                     "media_waste": 0},
        "premises": {"rent": "0 USD/m²/year", "electricity": "0 USD/kWh"},
    },
    "money": {"start": "2027-01-01", "horizon": 36, "discount_rate": 0.1},
    "films": {
        name: {"name": name, "price": f"{price} USD/m²", "roll_width": "1.02 m",
               "roll_length": "50 m"}
        for name, price in (("vinyl", 5), ("laminate", 3))
    },
    "inks": {"ink": {"name": "Ink", "price": "100 USD/L", "cleaning_share": 0}},
    "machines": {
        "printer": _MACHINE | {"name": "Printer", "printing": _ENGINE},
        "cutter": _MACHINE | {"name": "Cutter", "cutting": _KNIFE},
        "frame": _MACHINE | {"name": "Frame", "printing": _ENGINE, "cutting": _KNIFE},
        "laminator": _MACHINE | {
            "name": "Laminator",
            "laminating": {"laminating_width": "1 m", "feed_speed": "1 m/min"},
        },
    },
    "jobs": {
        "plain": _JOB | {"name": "Plain"},
        "laminated": _JOB | {"name": "Laminated", "laminate": "laminate", "laminated": 1},
    },
    "alternatives": {
        "keep": {"name": "Keep", "baseline": True, "machines": [
            {"machine": name, "owned": True} for name in ("printer", "cutter", "laminator")]},
        "frame": {"name": "Frame", "machines": [
            {"machine": "frame"}, {"machine": "laminator", "owned": True}]},
    },
}  # fmt: skip


def hand_study(**changes: object) -> Study:
    """Return the shop with entries replaced; ``a__b__c=value`` puts a value at ``a.b.c``."""
    mapping = deepcopy(_MAPPING)
    for path, value in changes.items():
        *way, last = path.split("__")
        place = mapping
        for name in way:
            place = place.setdefault(name, {}) if isinstance(place, dict) else place[int(name)]
        if value is None:
            place.pop(last)
        else:
            place[last] = value
    return Study.from_mapping(mapping)
