"""The times of a machine as a function of the parameters that a trial is to find.

Imports numpy, `capex.study` and, of this folder, `parameters`, `reading` and `times`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.trial.parameters import PARAMETERS
from capex.shopfloor.trial.reading import Reading
from capex.shopfloor.trial.times import modelled_times
from capex.study import Study

__all__ = ["TrialModel"]

#: Sizes of what a study may not state, to begin the search with, canonical units.
_GUESSES: Final = {"carriage_speed": 1.0, "quoted_rate": 20.0 / 3600.0, "laminated_speed": 1.0}

#: So many times its value, a speed or acceleration sets no limit.
_UNLIMITED: Final = 1e3


@dataclass(frozen=True, eq=False)
class TrialModel:
    """Times of runs by the parameters that are fitted, vectorized over parameter sets.

    Parameters
    ----------
    study : Study
    machine : str
    names : tuple of str, length p
        Fitted parameters.
    fixed : dict of str to float
        Others that do not stand as in the study.
    """

    study: Study
    machine: str
    names: tuple[str, ...]
    fixed: dict[str, float]

    def times(self, values: FloatArray, readings: Sequence[Reading]) -> FloatArray:
        """Return modelled times [s], shape (n, r).

        Parameters
        ----------
        values : ndarray (n, p)
        readings : sequence of Reading, length r
        """
        given = {name: values[:, place] for place, name in enumerate(self.names)}
        fixed = {name: np.full(len(values), value) for name, value in self.fixed.items()}
        return modelled_times(self.study, self.machine, readings, {**fixed, **given})

    def unlimited(self, place: int, value: float) -> TrialModel:
        """Return the model of the other parameters, one of speed or acceleration without limit.

        Parameters
        ----------
        place : int
            Of that parameter.
        value : float
            Its best value.
        """
        return self.holding(place, _UNLIMITED * max(value, float(self.scale[place])))

    def holding(self, place: int, value: float) -> TrialModel:
        """Return the model of the other parameters, one of them held.

        Parameters
        ----------
        place : int
            Of that parameter.
        value : float
            At which it is held.
        """
        names = self.names[:place] + self.names[place + 1 :]
        fixed = {**self.fixed, self.names[place]: value}
        return TrialModel(self.study, self.machine, names, fixed)

    @property
    def before(self) -> tuple[float | None, ...]:
        """Likely values of the study, length p."""
        part = self.study.machines[self.machine]
        found = [getattr(getattr(part, PARAMETERS[n].part), n) for n in self.names]
        return tuple(None if one is None else one.likely for one in found)

    @property
    def scale(self) -> FloatArray:
        """Typical size of each parameter, shape (p,)."""
        sizes = []
        for name, before in zip(self.names, self.before, strict=True):
            if PARAMETERS[name].is_affine:
                sizes.append(max(PARAMETERS[name].good_enough, before or 0.0))
            else:
                sizes.append(before or _GUESSES.get(name, 1.0))
        return np.array(sizes)
