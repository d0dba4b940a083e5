"""What a simulation says of every choice, and of the decision: all that a table of studies needs.

Imports numpy and, of this folder, `chances`, `information` and `simulation`.
"""

from __future__ import annotations

from dataclasses import dataclass
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
)
from capex.decision.risk.information import InputInformation, perfect_information, value_of_knowing
from capex.decision.risk.simulation import Simulation

__all__ = ["ChoiceRisk", "Dominance", "RiskSummary", "risk_summary"]

FloatArray = npt.NDArray[np.float64]
Three = tuple[float, float, float]

_SHARES: Final = (0.05, 0.5, 0.95)
_COVER_ASKED: Final = "money.lender.minimum_cover"


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
        Chance that the least cover of the project years is below what the lender asks for; None
        where nothing is due to a lender in any draw.
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
    """

    simulation: Simulation
    choices: tuple[ChoiceRisk, ...]
    knowing_everything: Estimate
    knowing: tuple[InputInformation, ...]
    dominances: tuple[Dominance, ...]

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
    best = best_shares(gains)
    regrets = regret(gains)
    short = found.least_cover < _cover_asked(found)[:, None]
    in_debt = np.isfinite(found.least_cover.min(axis=0)).tolist()
    middle = {
        name: _threes(percentiles(figures, _SHARES))
        for name, figures in (
            ("gain", gains), ("worst_cash", found.worst_cash), ("payback", found.payback),
        )
    }  # fmt: skip
    choices = tuple(
        ChoiceRisk(
            key=key,
            name=found.study.alternatives[key].name,
            baseline=key == found.study.baseline,
            best=best[k],
            loses=chance(gains[:, k] < 0.0),
            mean=mean(gains[:, k]),
            gain=middle["gain"][k],
            regret=mean(regrets[:, k]),
            cover_falls_short=chance(short[:, k]) if in_debt[k] else None,
            worst_cash=middle["worst_cash"][k],
            payback=middle["payback"][k],
            not_paid_back=None if key == found.study.baseline
            else chance(np.isinf(found.payback[:, k])),
        )
        for k, key in enumerate(keys)
    )  # fmt: skip
    pairs = [(one, other) for one in range(len(keys)) for other in range(len(keys)) if one != other]
    orders = [(keys[one], keys[other], dominance(gains, one, other)) for one, other in pairs]
    return RiskSummary(
        found, choices, perfect_information(gains), value_of_knowing(found.draws, gains),
        tuple(Dominance(*pair) for pair in orders if pair[2]),
    )  # fmt: skip


def _cover_asked(found: Simulation) -> FloatArray:
    """Return what the lender asks for in each draw, shape (n,); it may itself be uncertain."""
    likely = found.study.money.lender.minimum_cover.likely
    return found.draws.scenarios().get(_COVER_ASKED, np.full(found.draws.count, likely))


def _threes(rows: FloatArray) -> list[Three]:
    return [(float(low), float(half), float(high)) for low, half, high in rows.T]
