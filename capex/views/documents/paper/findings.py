"""All that a document for a lender says, worked out once: stress, volumes, swings and draws.

Imports from capex decision and study only.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from capex.decision.cover import CoverVolume, cover_volumes
from capex.decision.outcome import Outcome
from capex.decision.risk.simulation import Simulation, simulate
from capex.decision.stress import StressTest, stress_test
from capex.decision.swings import Swings, swings
from capex.decision.verdict import Verdict, verdict
from capex.errors import InputError
from capex.study import Study

__all__ = ["DRAWS", "LenderFindings", "lender_findings"]

#: Draws behind the chances in a document.
DRAWS: Final = 16_384


@dataclass(frozen=True)
class LenderFindings:
    """What is known of one choice.

    Parameters
    ----------
    study : Study
    choice : str
        Key of the alternative that the money is for.
    stress : StressTest
    verdict : Verdict
    volumes : tuple of CoverVolume
        Order volumes at which cover reaches 1 and the lender's minimum.
    swings : Swings
    simulation : Simulation
    """

    study: Study
    choice: str
    stress: StressTest
    verdict: Verdict
    volumes: tuple[CoverVolume, ...]
    swings: Swings
    simulation: Simulation

    @property
    def outcome(self) -> Outcome:
        """Of the choice, as the study stands."""
        return self.stress.appraisal.outcomes[self.choice]


def lender_findings(
    study: Study,
    choice: str | None = None,
    *,
    draws: int = DRAWS,
    simulation: Simulation | None = None,
) -> LenderFindings:
    """Return all that a document says of a choice.

    Parameters
    ----------
    study : Study
    choice : str, optional
        By default the best choice that is not the baseline.
    draws : int
        A power of two.
    simulation : Simulation, optional
        Of the same study, where there is one at hand.

    Raises
    ------
    InputError
        No such alternative.
    """
    if choice is not None and choice not in study.alternatives:
        known = ", ".join(study.alternatives)
        raise InputError("choice", choice, f"must be one of: {known}")
    tested = stress_test(study)
    found = verdict(tested.appraisal)
    levels = dict.fromkeys((1.0, float(study.money.lender.minimum_cover.likely)))
    volumes = tuple(each for level in levels for each in cover_volumes(study, level, within=1e-3))
    made = simulation if simulation is not None else simulate(study, draws)
    return LenderFindings(
        study,
        choice or found.leading_beside(study.baseline),
        tested,
        found,
        volumes,
        swings(study),
        made,
    )
