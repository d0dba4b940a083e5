"""At what volume one alternative overtakes another.

Imports numpy, `capex.study` and, of this folder, `appraise` and `sign_changes`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import Lateness, appraise, held_lateness
from capex.decision.sign_changes import sign_changes
from capex.study import Study

__all__ = ["Crossover", "VolumeSweep", "crossovers", "volume_sweep"]

FloatArray = npt.NDArray[np.float64]
_DEMAND = "levers.demand"


@dataclass(frozen=True)
class Crossover:
    """A volume at which two alternatives leave the same.

    Parameters
    ----------
    volume : float
        Factor on the orders of the study [-].
    below, above : int
        Places of the alternatives that lead below and above it.
    """

    volume: float
    below: int
    above: int


@dataclass(frozen=True)
class VolumeSweep:
    """Gains over the baseline against volume.

    Parameters
    ----------
    volumes : ndarray, shape (s,)
        Factors on the orders of the study [-].
    gains : ndarray, shape (s, alternatives) [currency]
    """

    volumes: FloatArray
    gains: FloatArray


def volume_sweep(
    study: Study,
    volumes: npt.ArrayLike,
    scenario: Mapping[str, float] | None = None,
    lateness: Lateness | None = None,
) -> VolumeSweep:
    """Return the gains at several volumes, the other inputs at the scenario's values.

    Where being late costs something, the shares of late orders are held at the scenario's: a
    year is simulated for no other volume.

    Parameters
    ----------
    study : Study
    volumes : array_like, shape (s,)
        Factors on the orders of the study [-].
    scenario : mapping of str to float, optional
        Inputs that differ from the study, canonical units.
    lateness : mapping of str to ndarray, optional
        The scenario's, where it is known already; see `capex.decision.appraise`.

    Returns
    -------
    VolumeSweep

    Raises
    ------
    InputError
        A volume or another value outside its bounds.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> volume_sweep(study, [0.5, 1.0, 2.0]).gains.shape
    (3, 4)
    """
    factors = np.atleast_1d(np.asarray(volumes, dtype=np.float64))
    held = held_lateness(study, scenario) if lateness is None else lateness
    batch: dict[str, npt.ArrayLike] = {**(scenario or {}), _DEMAND: factors}
    found = appraise(study, batch, keep="cash", lateness=held)
    return VolumeSweep(factors, found.net_present_value)


def crossovers(
    study: Study,
    one: int,
    other: int,
    sweep: VolumeSweep,
    scenario: Mapping[str, float] | None = None,
    *,
    within: float = 1e-4,
    lateness: Lateness | None = None,
) -> tuple[Crossover, ...]:
    """Return every volume in a sweep's range at which two alternatives change places.

    Each sign change of the difference is narrowed on the same path (see `sign_changes`). Two
    changes between neighbouring volumes of the sweep go unseen.

    Parameters
    ----------
    study : Study
    one, other : int
        Places of the alternatives.
    sweep : VolumeSweep
        Where to look.
    scenario : mapping of str to float, optional
        As the sweep was made with.
    within : float
        Width of the answer's bracket [-].
    lateness : mapping of str to ndarray, optional
        As the sweep was made with.

    Returns
    -------
    tuple of Crossover
        Ascending; empty where one leads throughout the range.

    Raises
    ------
    InputError
        A value of the scenario outside its bounds.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> sweep = volume_sweep(study, [1.0, 1.5])
    >>> [(point.below, point.above) for point in crossovers(study, 1, 2, sweep, within=0.01)]
    [(2, 1)]
    """
    pair = [one, other]
    held = held_lateness(study, scenario) if lateness is None else lateness

    def lead(volumes: FloatArray) -> FloatArray:
        gains = volume_sweep(study, volumes, scenario, held).gains[:, pair]
        return gains[:, :1] - gains[:, 1:]

    known = sweep.gains[:, pair]
    changes = sign_changes(lead, sweep.volumes, known[:, :1] - known[:, 1:], within=within)
    return tuple(
        Crossover(found.value, *((other, one) if found.rises else (one, other)))
        for found in changes
    )
