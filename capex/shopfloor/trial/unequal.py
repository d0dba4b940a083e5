"""Whether machines differ in a time that the study states once for the whole shop.

Imports numpy, scipy.special and, of this folder, `reading`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import special

from capex.errors import InputError
from capex.shopfloor.trial.reading import Reading

__all__ = ["LEVEL", "Unequal", "one_way_chance", "unequal_machines"]

#: Machines are said to differ where chance alone does it more rarely than this.
LEVEL: Final = 0.05


@dataclass(frozen=True)
class Unequal:
    """Machines that differ beyond chance in a time that the study has once.

    Parameters
    ----------
    means : tuple of (str, float)
        Machine and its mean as timed [s], the shortest first.
    chance : float
        Of a difference as large, if the machines were alike [-]; below `LEVEL`.
    """

    means: tuple[tuple[str, float], ...]
    chance: float


def one_way_chance(groups: Sequence[npt.ArrayLike]) -> float:
    """Return the chance that groups differ as much as they do if all have one mean [-].

    Assumes independent readings that scatter normally and alike in every group.

    Parameters
    ----------
    groups : sequence of array_like (n,)
        At least two, each of at least one reading, one of at least two.

    Returns
    -------
    float
        0 where groups differ and no reading of a group does; 1 where all are equal.

    Raises
    ------
    InputError
        Too few groups or readings.

    Examples
    --------
    >>> round(one_way_chance([[7.0, 8.0, 9.0], [9.0, 10.0, 11.0]]), 4)
    0.0705

    Notes
    -----
    One-way analysis of variance: F = (between/(k − 1))/(within/(n − k)). Source `derivable`.
    """
    values = [np.asarray(group, dtype=np.float64) for group in groups]
    count, whole = len(values), sum(group.size for group in values)
    if count < 2 or any(group.size == 0 for group in values) or whole <= count:
        raise InputError("groups", count, "must be at least 2, with a reading more than groups")
    middle = float(np.concatenate(values).mean())
    between = sum(group.size * (float(group.mean()) - middle) ** 2 for group in values)
    within = sum(float(((group - group.mean()) ** 2).sum()) for group in values)
    if within <= 1e-24 * whole * middle**2:  # equal readings spread by what their sum leaves
        return 1.0 if between <= 1e-24 * whole * middle**2 else 0.0
    ratio = (between / (count - 1)) / (within / (whole - count))
    return float(special.fdtrc(count - 1, whole - count, ratio))


def unequal_machines(readings: Sequence[Reading]) -> Unequal | None:
    """Return how machines differ in one kind of handling, or None where chance may do it.

    Machines with one reading only are left aside.

    Parameters
    ----------
    readings : sequence of Reading
        Of one work.

    Examples
    --------
    >>> times = {"a": (200.0, 204.0, 199.0), "b": (240.0, 246.0, 243.0)}
    >>> runs = [Reading(2, key, "load", time) for key, each in times.items() for time in each]
    >>> found = unequal_machines(runs)
    >>> found.means, found.chance < 0.001
    ((('a', 201.0), ('b', 243.0)), True)
    """
    groups: dict[str, list[float]] = {}
    for one in readings:
        groups.setdefault(one.machine, []).append(one.time / one.pieces)
    several = {machine: times for machine, times in groups.items() if len(times) > 1}
    if len(several) < 2:
        return None
    chance = one_way_chance(list(several.values()))
    if chance >= LEVEL:
        return None
    means = sorted(
        ((machine, float(np.mean(times))) for machine, times in several.items()),
        key=lambda each: each[1],
    )
    return Unequal(tuple(means), chance)
