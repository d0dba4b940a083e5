"""Would the same choice be made again: the study with what is known now, and at its ends.

Imports numpy, `capex.study`, `capex.decision` and, of this folder, `estimates` and `inputs`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import Appraisal
from capex.decision.year_on.estimates import Ratio, Trend
from capex.decision.year_on.inputs import inputs_of, shifted_growth
from capex.study import Study

__all__ = ["Case", "Standing", "cases", "scenarios_of"]

FloatArray = npt.NDArray[np.float64]

#: What is known of the machines of the choice that was made only.
_OF_MACHINES: Final = ("upkeep", "repair")


@dataclass(frozen=True)
class Case:
    """One scenario that is looked at.

    Parameters
    ----------
    kind : str
        "plan", "now", "alike" where every machine is off by as much as those that were bought, or
        the kind of input that is at one end of its interval.
    end : str
        "low" or "high" of it; empty for the plan and for what is known now.
    values : dict of str to float
        Inputs that differ from the study, by path, canonical units.
    """

    kind: str
    end: str
    values: dict[str, float]


def cases(study: Study, values: Mapping[str, float], ratios: Mapping[str, Ratio],
          trend: Trend | None) -> tuple[Case, ...]:  # fmt: skip
    """Return the plan, its own ends of the demand, what is known now, and each estimate's ends.

    Parameters
    ----------
    study : Study
    values : mapping of str to float
        What is known now, by path.
    ratios, trend
        What it rests on.
    """
    found = [Case("plan", "", {}), Case("now", "", dict(values))]
    lever = study.levers.demand
    if lever.low is not None and lever.high is not None:
        found += [Case("plan", "low", {"levers.demand": lever.low}),
                  Case("plan", "high", {"levers.demand": lever.high})]  # fmt: skip
    alike = {path: study.quantity(path).likely * ratios[key].value
             for key in _OF_MACHINES if key in ratios
             for path in inputs_of(study, key, every_machine=True)}  # fmt: skip
    if alike:
        found.append(Case("alike", "", {**values, **alike}))
    counts = trend is not None and trend.counts
    for key, one in ratios.items():
        ends = {"low": one.low, "high": one.high}
        if counts and key == "demand" and trend is not None:
            ends = {"low": trend.low_start, "high": trend.high_start}
        for end, factor in ends.items():
            if factor is not None:
                moved = {path: study.quantity(path).likely * factor
                         for path in inputs_of(study, key)}  # fmt: skip
                found.append(Case(key, end, {**values, **moved}))
    if counts and trend is not None:
        for end, yearly in (("low", trend.low), ("high", trend.high)):
            moved = {"levers.growth_shift": shifted_growth(study, yearly)}
            found.append(Case("growth", end, {**values, **moved}))
    return tuple(found)


def scenarios_of(study: Study, each: tuple[Case, ...]) -> dict[str, FloatArray]:
    """Return the cases as scenarios, one row a case."""
    paths = dict.fromkeys(path for case in each for path in case.values)
    return {
        path: np.array([case.values.get(path, study.quantity(path).likely) for case in each])
        for path in paths
    }


@dataclass(frozen=True)
class Standing:
    """The decision as it would stand today.

    Parameters
    ----------
    choice : str
        That was made.
    cases : tuple of Case
        The plan first, what is known now second.
    appraisal : Appraisal
        A row a case.
    """

    choice: str
    cases: tuple[Case, ...]
    appraisal: Appraisal

    def best(self, row: int) -> str:
        """Return the alternative that leaves most in one case."""
        return list(self.appraisal.outcomes)[int(self.appraisal.best[row])]

    @property
    def holds(self) -> bool:
        """Whether the choice that was made leaves most with what is known now."""
        return self.best(1) == self.choice

    @property
    def lead(self) -> float:
        """What the choice leaves more than the best other one now; negative if less [currency]."""
        gains = self.appraisal.net_present_value[1]
        keys = list(self.appraisal.outcomes)
        others = [gains[k] for k, key in enumerate(keys) if key != self.choice]
        return float(gains[keys.index(self.choice)] - max(others)) if others else 0.0

    @property
    def turned_by(self) -> tuple[Case, ...]:
        """Ends of intervals at which another alternative leads than with what is known now."""
        now = self.best(1)
        return tuple(case for row, case in enumerate(self.cases)
                     if case.kind not in ("plan", "now") and self.best(row) != now)  # fmt: skip
