"""Everything that a table of readings says: calibrated machines, refusals, measured handling.

Imports `capex.errors`, `capex.study` and, of this folder, `calibration`, `measurements`,
`parameters`, `reading` and `work`.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from capex.errors import InputError, NotIdentifiedError
from capex.shopfloor.trial.calibration import Calibration, calibration
from capex.shopfloor.trial.measurements import Measurement, attended_shares, handling_times
from capex.shopfloor.trial.parameters import PARAMETERS
from capex.shopfloor.trial.reading import Readings
from capex.shopfloor.trial.statistics import CONFIDENCE
from capex.shopfloor.trial.work import WORK
from capex.study import Study

__all__ = ["TrialResults", "trial_results"]


@dataclass(frozen=True)
class TrialResults:
    """What a trial found.

    Parameters
    ----------
    calibrations : tuple of Calibration
        One for each machine and work whose parameters the readings identify.
    refusals : tuple of NotIdentifiedError
        One for each other, with the reasons.
    measurements : tuple of Measurement
        Handling times and attended shares.
    """

    calibrations: tuple[Calibration, ...]
    refusals: tuple[NotIdentifiedError, ...]
    measurements: tuple[Measurement, ...]


def trial_results(
    study: Study,
    readings: Readings,
    *,
    hold: Collection[str] = (),
    confidence: float = CONFIDENCE,
) -> TrialResults:
    """Return all that readings say of the machines and the handling of a shop.

    Parameters
    ----------
    study : Study
    readings : Readings
    hold : collection of str
        Parameters to keep as they are in the study.
    confidence : float
        [-].

    Returns
    -------
    TrialResults

    Raises
    ------
    InputError
        A parameter that is not known.

    Examples
    --------
    >>> from capex.shopfloor.trial.readings import read_readings
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> table = read_readings(data_folder() / "trials" / "quenlow_trial.csv", study)
    >>> found = trial_results(study, table)
    >>> len(found.calibrations), len(found.refusals)
    (4, 0)
    """
    for name in hold:
        if name not in PARAMETERS:
            raise InputError("hold", name, f"is no parameter; known: {', '.join(PARAMETERS)}")
    done: list[Calibration] = []
    refused: list[NotIdentifiedError] = []
    for machine, work in dict.fromkeys((one.machine, one.work) for one in readings.kept):
        if not WORK[work].is_calibrated:
            continue
        held = [name for name in hold if PARAMETERS[name].work == work]
        try:
            done.append(
                calibration(study, machine, work, readings.kept, hold=held, confidence=confidence)
            )
        except NotIdentifiedError as error:
            refused.append(error)
    measured = (
        *handling_times(readings.kept, confidence=confidence),
        *attended_shares(readings.kept, confidence=confidence),
    )
    return TrialResults(tuple(done), tuple(refused), measured)
