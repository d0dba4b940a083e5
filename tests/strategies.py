"""Random studies: small shops with several eligible machines, for seeds and for Hypothesis.

`study_mapping` asks a `Draws` for every choice, so that the same shop can be drawn from a seeded
generator (many, quickly) or from Hypothesis (few, shrinking). All figures are invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from hypothesis import Phase, settings
from hypothesis import strategies as st

from capex.study import Study


def laws(examples: int) -> settings:
    """Return settings for laws over studies: the same examples in every run, no shrinking.

    A study is large and an appraisal slow, so that shrinking one failure takes minutes.
    """
    phases = (Phase.explicit, Phase.generate)
    return settings(
        max_examples=examples, deadline=None, derandomize=True, database=None, phases=phases
    )


class Draws(Protocol):
    """A source of choices."""

    def real(self, low: float, high: float) -> float: ...

    def whole(self, low: int, high: int) -> int: ...


@dataclass
class SeededDraws:
    """Choices from a seeded generator."""

    generator: np.random.Generator

    def real(self, low: float, high: float) -> float:
        return round(float(self.generator.uniform(low, high)), 4)

    def whole(self, low: int, high: int) -> int:
        return int(self.generator.integers(low, high + 1))


@dataclass
class HypothesisDraws:
    """Choices that Hypothesis can shrink."""

    draw: Any

    def real(self, low: float, high: float) -> float:
        steps = self.draw(st.integers(0, 1000))
        return round(low + (high - low) * steps / 1000, 4)

    def whole(self, low: int, high: int) -> int:
        return self.draw(st.integers(low, high))


@dataclass(frozen=True)
class Size:
    """How large the shops may be."""

    jobs: int = 6
    frames: int = 2
    years: int = 2
    overtime: bool = True
    overnight: bool = True
    lost_customers: bool = False
    redeployed: bool = True


class RandomStudy(Study):
    """A study that reports of failures show in one line."""

    def __repr__(self) -> str:
        return f"<study of {len(self.jobs)} jobs, {self.money.horizon.likely:.0f} months>"

    __str__ = __repr__


def seeded_study(seed: int, size: Size = Size()) -> Study:
    """Return the random study of a seed."""
    return RandomStudy.from_mapping(study_mapping(SeededDraws(np.random.default_rng(seed)), size))


@st.composite
def studies(draw, size: Size = Size(jobs=3, frames=1, years=2)) -> Study:
    """Draw a small random study."""
    return RandomStudy.from_mapping(study_mapping(HypothesisDraws(draw), size))


def study_mapping(draws: Draws, size: Size) -> dict[str, Any]:
    """Return a study as a file would state it."""
    machines = {
        "old_printer": machine(draws, printing=True),
        "old_cutter": machine(draws, cutting=True),
        "narrow_cutter": machine(draws, cutting=True, width=0.5),
        "laminator": machine(draws, laminating=True),
        "second_laminator": machine(draws, laminating=True),
        **{f"printer_{i}": machine(draws, printing=True) for i in range(size.frames)},
        **{f"cutter_{i}": machine(draws, cutting=True) for i in range(size.frames)},
        **{f"frame_{i}": machine(draws, printing=True, cutting=True) for i in range(size.frames)},
    }
    jobs = {f"job_{i}": job(draws, size) for i in range(draws.whole(2, size.jobs))}
    films = {"vinyl": film(draws, 1.37), "narrow_vinyl": film(draws, 1.05),
             "laminate": film(draws, 1.37)}  # fmt: skip
    for table in (machines, jobs, films):
        for key, part in table.items():
            part["name"] = f"{part['name']}, {key}"
    return {
        "shop_name": "A random shop",
        "currency": "USD",
        "shop": shop(draws, size),
        "money": money(draws, size),
        "films": films,
        "inks": {"ink": {"name": "Ink", "price": f"{draws.real(80, 200)} USD/L"}},
        "machines": machines,
        "jobs": jobs,
        "alternatives": alternatives(
            draws, size, [k for k, job in jobs.items() if "bought_in_price" in job]
        ),
        "tax_regimes": {},
    }


def machine(
    draws: Draws,
    *,
    printing: bool = False,
    cutting: bool = False,
    laminating: bool = False,
    width: float = 1.3,
) -> dict[str, Any]:
    """Return a machine that does what is asked."""
    found: dict[str, Any] = {
        "name": "A machine",
        "price": draws.whole(4, 40) * 1000,
        "service": f"{draws.whole(3, 30) * 100} USD/year",
        "mean_time_between_failures": f"{draws.whole(200, 2000)} h",
        "mean_time_to_repair": f"{draws.whole(4, 24)} h",
        "minor_stop_share": draws.real(0, 0.06),
        "warm_up_time": f"{draws.whole(0, 15)} min",
        "power_active": f"{draws.real(0.2, 3)} kW",
        "power_ready": f"{draws.real(0, 0.2)} kW",
        "length": f"{draws.real(1.5, 3)} m",
        "depth": f"{draws.real(0.6, 1)} m",
        "resale_by_year": [0.6, 0.45, 0.3],
    }
    if printing:
        found["printing"] = print_engine(draws, width)
    if cutting:
        found["cutting"] = knife(draws, width)
    if laminating:
        found["laminating"] = {
            "laminating_width": "1.6 m",
            "feed_speed": f"{draws.real(0.8, 3)} m/min",
            "load_time": f"{draws.whole(2, 10)} min",
        }
    return found


def print_engine(draws: Draws, width: float) -> dict[str, Any]:
    """Return a print engine known by its swaths, or by a quoted rate."""
    engine: dict[str, Any] = {
        "print_width": f"{width} m",
        "ink": "ink",
        "drying_time": f"{draws.whole(0, 12)} min",
        "head_price": draws.whole(500, 2000),
        "head_life": f"{draws.whole(8, 20)} L",
    }
    if draws.whole(0, 3) == 0:
        return engine | {
            "quoted_rate": f"{draws.real(6, 25)} m²/h",
            "quoted_passes": 8,
            "quoted_width": f"{width} m",
        }
    return engine | {
        "swath_height": f"{draws.real(25, 70)} mm",
        "carriage_speed": f"{draws.real(0.6, 1.2)} m/s",
        "unidirectional": draws.whole(0, 4) == 0,
    }


def knife(draws: Draws, width: float) -> dict[str, Any]:
    """Return a knife."""
    return {
        "cut_width": f"{width} m",
        "set_speed": f"{draws.real(0.3, 1)} m/s",
        "acceleration": f"{draws.real(0.5, 3)} g",
        "lift_time": f"{draws.real(0.05, 0.1)} s",
        "corner_dwell": f"{draws.real(0, 0.02)} s",
        "mark_scan_time": f"{draws.whole(4, 30)} s",
        "reload_time": f"{draws.whole(2, 12)} min",
        "blade_price": 30,
        "blade_life": f"{draws.whole(1, 8)} km",
        "spoil_direct": draws.real(0, 0.05),
        "spoil_reloaded": draws.real(0, 0.05),
        "spoil_laminated": draws.real(0, 0.1),
    }


def film(draws: Draws, width: float) -> dict[str, Any]:
    """Return a roll material."""
    return {
        "name": "A film",
        "price": f"{draws.real(2, 10)} USD/m²",
        "roll_width": f"{width} m",
        "roll_length": f"{draws.whole(25, 50)} m",
    }


def job(draws: Draws, size: Size) -> dict[str, Any]:
    """Return a job type: printed, cut, both, laminated always, at times or never."""
    kind = draws.whole(0, 5)
    printed, cut = kind != 5, kind != 4
    wide = draws.whole(0, 4) == 0
    found: dict[str, Any] = {
        "name": "A job",
        "orders_per_month": draws.real(4, 60),
        "pieces_per_order": draws.whole(1, 60) if not wide else draws.whole(1, 6),
        "width": f"{draws.real(0.6, 0.9) if wide else draws.real(0.05, 0.4)} m",
        "height": f"{draws.real(0.6, 2) if wide else draws.real(0.05, 0.4)} m",
        "weeding_time": f"{draws.whole(0, 20)} min",
        "finishing_time": f"{draws.whole(0, 10)} min",
        "packing_time": "3 min",
        "price": draws.whole(60, 500),
        "growth": draws.real(-0.05, 0.15),
    }
    if draws.whole(0, 3) > 0:
        found["bought_in_price"] = round(found["price"] * draws.real(0.3, 1.05), 2)
    if draws.whole(0, 2) == 0:
        found["other_cost"] = draws.real(0, 10)
    if printed:
        found |= {
            "film": "vinyl" if draws.whole(0, 1) else "narrow_vinyl",
            "passes": draws.whole(4, 12),
            "unattended_overnight": size.overnight and draws.whole(0, 1) == 1,
        }
        if kind in (1, 2):
            found["laminate"] = "laminate"
            found["laminated"] = 1 if kind == 1 else draws.real(0.1, 0.9)
    else:
        found["cut_material"] = "vinyl"
    if cut:
        found["cut"] = {
            "kind": "path",
            "length": f"{draws.real(0.2, 5)} m",
            "segments": draws.whole(1, 60),
            "lifts": draws.whole(1, 5),
        }
        found["cut_passes"] = 1 + draws.whole(0, 1)
    if size.lost_customers:
        found["lost_customers"] = draws.real(0, 0.5)
    return found


def shop(draws: Draws, size: Size) -> dict[str, Any]:
    """Return hours, people, handling and premises."""
    return {
        "hours": {
            "days_per_month": 21,
            "hours_per_day": "8 h",
            "care_per_day": f"{draws.real(0, 1)} h",
            "overtime_per_month": f"{draws.whole(1, 30) if size.overtime else 0} h",
            "overtime_premium": draws.real(1, 2),
            "overnight_per_day": f"{draws.whole(1, 8) if size.overnight else 0} h",
            "overnight_completion": draws.real(0.4, 1),
        },
        "people": {
            "operators": draws.real(0.8, 3),
            "finishers": draws.real(0.5, 3) if draws.whole(0, 3) else 0,
            "wage": f"{draws.real(10, 30)} USD/h",
            "on_cost_factor": draws.real(1, 1.5),
            "idle_time_redeployed": draws.whole(0, 2) / 2 if size.redeployed else 0,
        },
        "handling": {
            "orders_per_run": draws.real(1, 3),
            "printing_attended": draws.real(0, 0.4),
            "cutting_attended": draws.real(0, 0.4),
            "printing_spoil": draws.real(0, 0.03),
            "media_waste": draws.real(0, 0.2),
        },
        "premises": {
            "rent": f"{draws.whole(50, 200)} USD/m²/year",
            "electricity": f"{draws.real(0.08, 0.3)} USD/kWh",
            "insurance": draws.real(0, 0.02),
        },
        "seasonality": [0.7, 0.8, 1.0, 1.1, 1.2, 1.2, 1.0, 0.9, 1.1, 1.1, 1.0, 0.9],
    }


def money(draws: Draws, size: Size) -> dict[str, Any]:
    """Return rates, horizon, tax, escalation, working capital and a loan."""
    regimes = ("none", "straight_line_5", "us_macrs_5", "us_macrs_3")
    return {
        "start": f"2027-{draws.whole(1, 12):02d}-01",
        "horizon": draws.whole(13, 12 * size.years),
        "discount_rate": draws.real(0.02, 0.2),
        "tax": {
            "regime": regimes[draws.whole(0, 3)],
            "rate": draws.real(0, 0.4),
            "losses": ("absorbed", "carried_forward")[draws.whole(0, 1)],
        },
        "escalation": {
            name: draws.real(-0.02, 0.06) for name in ("prices", "materials", "wages", "overheads")
        },
        "working_capital": draws.real(0, 2),
        "opening_cash": 10000,
        "loan": {
            "share": draws.real(0.1, 1),
            "annual_rate": draws.real(0, 0.15),
            "term": draws.whole(6, 60),
            "fee": draws.real(0, 0.03),
        },
    }


def alternatives(draws: Draws, size: Size, purchasable: list[str]) -> dict[str, Any]:
    """Return a baseline, and purchases of several machines at different months."""
    owned = [
        {"machine": name, "owned": True} for name in ("old_printer", "old_cutter", "laminator")
    ]
    many = [
        {
            "machine": f"{what}_{i}",
            "month": draws.whole(0, 3) * 3,
            "freight_and_installation": 900,
            "training": 400,
        }
        for what in ("printer", "cutter", "frame")
        for i in range(draws.whole(0 if what == "cutter" else 1, size.frames))
    ]
    frame = {"machine": "frame_0", "freight_and_installation": 1000, "training": 500}
    sold = {"sold_in_month": draws.whole(0, 6), "sale_proceeds": 800}
    away = draws.real(0, 0.6)
    return {
        "keep": {
            "name": "Keep",
            "baseline": True,
            "machines": owned,
            "bought_in": dict.fromkeys(purchasable[:1], away),
        },
        "many": {
            "name": "Many machines",
            "machines": [
                *many,
                *([{"machine": "frame_0", "count": draws.whole(1, 2)}] * draws.whole(0, 1)),
                {"machine": "narrow_cutter"},
                {"machine": "second_laminator", "month": draws.whole(0, 6)},
                *owned,
            ],
            "recovered_demand": draws.real(0, 0.1),
            "ramp_up": draws.real(0, 6),
        },
        "staged": {
            "name": "Frame, then a cutter",
            "machines": [
                frame,
                {"machine": "cutter_0", "month": draws.whole(1, 12), "training": 300},
                owned[0] | sold,
                owned[1] | sold,
                owned[2],
            ],
            "recovered_demand": draws.real(0, 0.1),
            "ramp_up": draws.real(0, 6),
        },
    }
