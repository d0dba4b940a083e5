"""Which alternative leaves most money, by how much, and for what reason.

Imports numpy and `capex.decision.appraise`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, get_args

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import Appraisal
from capex.decision.outcome import Outcome, of_scenario
from capex.errors import InputError
from capex.finance.ledger import Group

__all__ = ["Reason", "Verdict", "reasons", "verdict"]

FloatArray = npt.NDArray[np.float64]

#: A lead below this share of the gain, or of the money that speaks for and against, is too close.
CLOSE: Final = 0.05


@dataclass(frozen=True)
class Reason:
    """What one group of ledger lines contributes to a difference.

    Parameters
    ----------
    group : str
        Of the ledger; sales, materials and bought-in work together are the contribution.
    worth : float
        Present value of the difference [currency]; positive speaks for the first alternative.
    """

    group: str
    worth: float


@dataclass(frozen=True)
class Verdict:
    """The ranking of one scenario.

    Parameters
    ----------
    ranking : tuple of str
        Keys of the alternatives, most money first.
    gains : tuple of float
        Their gains over the baseline, in that order [currency].
    reasons : tuple of Reason
        Of the lead over the runner-up, largest first.
    against_baseline : tuple of Reason
        Of the gain over the baseline, largest first.
    close : bool
        Whether the lead is too small to call: below 5 % of the larger gain, or of the money that
        speaks for and against.
    """

    ranking: tuple[str, ...]
    gains: tuple[float, ...]
    reasons: tuple[Reason, ...]
    against_baseline: tuple[Reason, ...]
    close: bool

    @property
    def best(self) -> str:
        """Key of the alternative that leaves most money."""
        return self.ranking[0]

    def leading_beside(self, baseline: str) -> str:
        """Return the best alternative that is not the baseline; the baseline where it is alone."""
        return next((key for key in self.ranking if key != baseline), baseline)

    @property
    def lead(self) -> float:
        """What the best leaves more than the runner-up [currency]; 0 where there is none."""
        return self.gains[0] - self.gains[1] if len(self.gains) > 1 else 0.0


def reasons(one: Outcome, other: Outcome, scenario: int = 0) -> tuple[Reason, ...]:
    """Return the present worth of the difference of two alternatives by ledger group.

    The worths add up to the difference of the net present values.

    Parameters
    ----------
    one, other : Outcome
        With their details; positive worths speak for `one`.
    scenario : int
        Which scenario.

    Returns
    -------
    tuple of Reason
        Largest first [currency].

    Raises
    ------
    InputError
        An appraisal that kept only cash.

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = appraise(study).outcomes
    >>> reasons(found["all_in_one"], found["keep"])[0].group
    'contribution'
    """
    if one.details is None or other.details is None:
        raise InputError("keep", "cash", "must be 'everything' to give reasons")
    factors = one.discount_factors[scenario]
    worth: dict[str, float] = {}
    for group in get_args(Group):
        if group == "financing":
            continue
        flows = [of_scenario(part.path.ledger.group(group), scenario) for part in (one, other)]
        # sales alone are no gain: what they take in material and bought-in work goes with them
        name = "contribution" if group in _CONTRIBUTION else group
        worth[name] = worth.get(name, 0.0) + float((flows[0] - flows[1]) @ factors)
    found = [Reason(name, value) for name, value in worth.items()]
    return tuple(sorted(found, key=lambda reason: -abs(reason.worth)))


_CONTRIBUTION: Final = ("sales", "materials", "bought-in work")


def verdict(appraisal: Appraisal, scenario: int = 0) -> Verdict:
    """Return the ranking of the alternatives by net present value in one scenario.

    Parameters
    ----------
    appraisal : Appraisal
        That kept everything.
    scenario : int
        Which scenario.

    Returns
    -------
    Verdict

    Raises
    ------
    InputError
        An appraisal that kept only cash.

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> verdict(appraise(study)).ranking
    ('all_in_one', 'separate', 'staged', 'keep')
    """
    gains = appraisal.net_present_value[scenario]
    keys = list(appraisal.outcomes)
    order = np.argsort(-gains, kind="stable")
    second_place = order[min(1, len(keys) - 1)]
    best, second = appraisal.outcomes[keys[order[0]]], appraisal.outcomes[keys[second_place]]
    lead_reasons = reasons(best, second, scenario)
    moved = sum(abs(reason.worth) for reason in lead_reasons)
    scale = max(abs(gains[order[0]]), abs(gains[second_place]), moved)
    return Verdict(
        ranking=tuple(keys[place] for place in order),
        gains=tuple(float(gains[place]) for place in order),
        reasons=lead_reasons,
        against_baseline=reasons(best, appraisal.baseline, scenario),
        close=bool(gains[order[0]] - gains[second_place] < CLOSE * scale) and len(keys) > 1,
    )
