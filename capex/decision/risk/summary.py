"""What a simulation says of every choice, and of the decision: all that a table of studies needs.

Imports numpy and, of this folder, `chances`, `information` and `simulation`.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.risk.chances import (
    Estimate,
    best_shares,
    chance,
    dominance,
    mean,
    percentiles,
    regret,
    same_distribution,
)
from capex.decision.risk.information import InputInformation, perfect_information, value_of_knowing
from capex.decision.risk.simulation import Simulation

__all__ = ["ChoiceRisk", "Dominance", "RiskSummary", "risk_summary"]

FloatArray = npt.NDArray[np.float64]
Three = tuple[float, float, float]

_SHARES: Final = (0.05, 0.5, 0.95)
_COVER_ASKED: Final = "money.lender.minimum_cover"
_CASH_ASKED: Final = "money.lender.lowest_cash"


@dataclass(frozen=True)
class ChoiceRisk:
    """What an alternative comes to over the draws.

    Parameters
    ----------
    key, name : str
    baseline : bool
        Whether the others are measured against it.
    best : Estimate
        Chance to leave most money.
    loses : Estimate
        Chance that its gain is below 0: less money than the baseline leaves.
    mean : Estimate
        Of the gain [currency].
    gain : tuple of three float
        5th, 50th and 95th percentile [currency].
    regret : Estimate
        Mean of what it leaves less than the best of each draw [currency].
    cover_falls_short : Estimate or None
        Chance that the least cover of the project years is below what the lender asks for in the
        same draw; None where nothing is due to a lender in any draw.
    cash_falls_short : Estimate
        Chance that the least money at a month's end is below what the lender asks for in the same
        draw.
    worst_cash : tuple of three float
        5th, 50th and 95th percentile of the least money in the bank at a month's end [currency].
    payback : tuple of three float
        5th, 50th and 95th percentile [years]; inf where not paid back within the horizon.
    not_paid_back : Estimate or None
        Chance of that; None for the baseline, which has no payback.
    """

    key: str
    name: str
    baseline: bool
    best: Estimate
    loses: Estimate
    mean: Estimate
    gain: Three
    regret: Estimate
    cover_falls_short: Estimate | None
    cash_falls_short: Estimate
    worst_cash: Three
    payback: Three
    not_paid_back: Estimate | None


@dataclass(frozen=True)
class Dominance:
    """That one alternative's distribution dominates another's.

    Parameters
    ----------
    one, other : str
        Keys.
    order : int
        1 whoever wants more money prefers it, 2 whoever also shuns risk does.
    """

    one: str
    other: str
    order: int


@dataclass(frozen=True)
class RiskSummary:
    """What the draws say.

    Parameters
    ----------
    simulation : Simulation
    choices : tuple of ChoiceRisk
        In the order of the study.
    knowing_everything : Estimate
        Expected value of perfect information [currency].
    knowing : tuple of InputInformation
        Of each uncertain input alone, most first.
    dominances : tuple of Dominance
    alike : tuple of tuple of two str
        Keys of alternatives that leave the same at every chance.
    """

    simulation: Simulation
    choices: tuple[ChoiceRisk, ...]
    knowing_everything: Estimate
    knowing: tuple[InputInformation, ...]
    dominances: tuple[Dominance, ...]
    alike: tuple[tuple[str, str], ...]

    @property
    def cover_asked(self) -> float | None:
        """Least cover that the lender asks for; None where it is uncertain itself."""
        asked = self.simulation.study.money.lender.minimum_cover.likely
        return None if _is_drawn(self.simulation, _COVER_ASKED) else asked

    @property
    def cash_asked(self) -> float | None:
        """Least cash that the lender asks for [currency]; None where it is uncertain itself."""
        asked = self.simulation.study.money.lender.lowest_cash.likely
        return None if _is_drawn(self.simulation, _CASH_ASKED) else asked

    @property
    def ranking(self) -> tuple[ChoiceRisk, ...]:
        """The alternatives, the highest mean gain first."""
        return tuple(sorted(self.choices, key=lambda choice: -choice.mean.value))


def risk_summary(found: Simulation) -> RiskSummary:
    """Return what a simulation says of every choice and of the decision.

    Parameters
    ----------
    found : Simulation

    Examples
    --------
    >>> from capex.decision.risk.simulation import simulate
    >>> from capex.study import data_folder, read_study
    >>> said = risk_summary(simulate(read_study(data_folder() / "studies" / "quenlow.toml"), 64))
    >>> round(sum(choice.best.value for choice in said.choices), 12)
    1.0
    >>> said.choices[0].baseline, said.choices[0].loses.value
    (True, 0.0)
    """
    gains, keys = found.gains, found.keys
    pairs = list(permutations(range(len(keys)), 2))
    orders = [(keys[one], keys[other], dominance(gains, one, other)) for one, other in pairs]
    return RiskSummary(
        found, _choices(found), perfect_information(gains), value_of_knowing(found.draws, gains),
        tuple(Dominance(*pair) for pair in orders if pair[2]),
        tuple((keys[one], keys[other]) for one, other in pairs
              if one < other and same_distribution(gains, one, other)),
    )  # fmt: skip


def _choices(found: Simulation) -> tuple[ChoiceRisk, ...]:
    gains, lender = found.gains, found.study.money.lender
    best, regrets = best_shares(gains), regret(gains)
    short = found.least_cover < _asked(found, _COVER_ASKED, lender.minimum_cover.likely)[:, None]
    low = found.worst_cash < _asked(found, _CASH_ASKED, lender.lowest_cash.likely)[:, None]
    in_debt = np.isfinite(found.least_cover.min(axis=0)).tolist()
    middle, cash, payback = (
        _threes(percentiles(figures, _SHARES))
        for figures in (gains, found.worst_cash, found.payback)
    )
    return tuple(
        ChoiceRisk(
            key=key,
            name=found.study.alternatives[key].name,
            baseline=key == found.study.baseline,
            best=best[k],
            loses=chance(gains[:, k] < 0.0),
            mean=mean(gains[:, k]),
            gain=middle[k],
            regret=mean(regrets[:, k]),
            cover_falls_short=chance(short[:, k]) if in_debt[k] else None,
            cash_falls_short=chance(low[:, k]),
            worst_cash=cash[k],
            payback=payback[k],
            not_paid_back=None if key == found.study.baseline
            else chance(np.isinf(found.payback[:, k])),
        )
        for k, key in enumerate(found.keys)
    )  # fmt: skip


def _is_drawn(found: Simulation, path: str) -> bool:
    return any(one.path == path for one in found.draws.inputs)


def _asked(found: Simulation, path: str, likely: float) -> FloatArray:
    """Return what the lender asks for in each draw, shape (n,); it may itself be uncertain."""
    return found.draws.scenarios().get(path, np.full(found.draws.count, likely))


def _threes(rows: FloatArray) -> list[Three]:
    return [(float(low), float(half), float(high)) for low, half, high in rows.T]
