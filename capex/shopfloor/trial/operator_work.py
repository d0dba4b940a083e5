"""How much of a timed run is operator work, and what rating and allowance make of the run.

Rating and allowance belong to operator work; what a machine sets stays as it was timed.

Imports `capex.shopfloor.arrays` and, of this folder, `reading`, `statistics` and `work`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.trial.reading import Reading
from capex.shopfloor.trial.statistics import Basis, normal_time, standard_time
from capex.shopfloor.trial.work import WORK

__all__ = ["operator_share", "raised_by", "run_times"]


def operator_share(readings: Sequence[Reading]) -> float:
    """Return the share of runs of one kind of work that is operator work [-], from 0 to 1.

    The attended share where attended time was written down; else all of handling, and nothing of
    what a machine does by itself. Work whose time the machine sets is never operator work.

    Parameters
    ----------
    readings : sequence of Reading
        At least one, all of one work.

    Examples
    --------
    >>> run = Reading(2, "a", "nozzle check", 100.0, attended=20.0)
    >>> operator_share([run])
    0.2
    >>> [operator_share([Reading(2, "a", work, 100.0)]) for work in ("load", "find marks", "cut")]
    [1.0, 0.0, 0.0]
    """
    work = WORK[readings[0].work]
    if work.is_machine_time:
        return 0.0
    known = [(one.attended, one.time) for one in readings if one.attended is not None]
    if not known:
        return 0.0 if work.is_calibrated else 1.0
    return min(1.0, sum(attended for attended, _ in known) / sum(time for _, time in known))


def run_times(
    times: npt.ArrayLike,
    share: float,
    *,
    rating: float = 1.0,
    allowance: float = 0.0,
    basis: Basis = "job",
) -> tuple[FloatArray, FloatArray]:
    """Return normal and standard time of runs that are operator work in part.

    Parameters
    ----------
    times : array_like (...)
        As timed [s].
    share : float
        Of them operator work [-]; see `operator_share`.
    rating, allowance, basis
        As for `normal_time` and `standard_time`.

    Returns
    -------
    normal, standard : ndarray (...)
        [s].

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> [float(time.round(6)) for time in run_times(100.0, 0.2, rating=1.1, allowance=0.15)]
    [102.0, 105.3]
    """
    seen = np.asarray(times, dtype=np.float64)
    machine = seen * (1.0 - share)
    normal = normal_time(seen * share, rating)
    standard = standard_time(normal, allowance=allowance, basis=basis, machine_time=machine)
    return machine + normal, standard


def raised_by(share: float, *, rating: float, allowance: float, basis: Basis = "job") -> str:
    """Return what a mean time is raised by before it enters the study, in words.

    Parameters
    ----------
    share : float
        Of the time operator work [-].
    rating, allowance : float
        As for `run_times` [-].
    basis : {"job", "workday"}

    Returns
    -------
    str
        Empty where the mean enters as it is, as that of machine time always does.

    Examples
    --------
    >>> raised_by(1.0, rating=1.0, allowance=0.15)
    'with an allowance of 15% of job time'
    >>> raised_by(0.2, rating=1.0, allowance=0.15)
    'with an allowance of 15% of job time, on the 20% that was attended only'
    >>> raised_by(0.0, rating=1.1, allowance=0.15)
    ''
    """
    if not share:
        return ""
    said = [f"rated at {100 * rating:.4g}% of a steady pace"] if rating != 1.0 else []
    if allowance:
        whole = {"job": "job time", "workday": "the workday"}[basis]
        said.append(f"with an allowance of {100 * allowance:.4g}% of {whole}")
    if said and share < 1.0:
        said.append(f"on the {100 * share:.3g}% that was attended only")
    return ", ".join(said)
