"""One input at a time from its likely to its low and its high value: what moves, what flips.

Imports numpy, `capex.study` and `capex.decision.appraise`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import Lateness, appraise, held_lateness
from capex.study import Quantity, Study

__all__ = ["Swing", "Swings", "swings"]

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Swing:
    """One uncertain input.

    Parameters
    ----------
    path : str
        Of the input in the study.
    quantity : Quantity
        As entered, with its spread and source.
    gains : ndarray, shape (2, alternatives)
        Gain over the baseline at the low and at the high value [currency].
    """

    path: str
    quantity: Quantity
    gains: FloatArray


@dataclass(frozen=True)
class Swings:
    """All uncertain inputs, the most influential first.

    Influence is the largest change of the difference between the best alternative and the
    runner-up. It is no probability: inputs move one at a time.

    Parameters
    ----------
    keys : tuple of str
        Alternatives.
    gains : ndarray, shape (alternatives,)
        At the likely values.
    each : tuple of Swing
    """

    keys: tuple[str, ...]
    gains: FloatArray
    each: tuple[Swing, ...]

    @cached_property
    def best(self) -> int:
        """Place of the alternative that leaves most at the likely values."""
        return int(self.gains.argmax())

    @property
    def tried(self) -> int:
        """How many single changes were tried."""
        return 2 * len(self.each)

    @cached_property
    def flips(self) -> tuple[tuple[Swing, int, int], ...]:
        """Changes after which another alternative is best: (swing, 0 low or 1 high, place)."""
        return tuple(
            (swing, end, place)
            for swing in self.each
            for end, place in enumerate(swing.gains.argmax(axis=1))
            if swing.gains[end, place] > swing.gains[end, self.best]
        )

    @property
    def unproven(self) -> int:
        """How many of the ten most influential inputs are defaults or assumed."""
        top = self.each[:10]
        return sum(swing.quantity.source in {"default", "assumed"} for swing in top)


def swings(
    study: Study,
    scenario: Mapping[str, float] | None = None,
    lateness: Lateness | None = None,
) -> Swings:
    """Return what each uncertain input does alone, the others at the scenario's values.

    Where being late costs something, the shares of late orders are held at the scenario's.

    Parameters
    ----------
    study : Study
        Its quantities with a low and a high value are moved.
    scenario : mapping of str to float, optional
        Inputs held at other values, canonical units; they are not moved.
    lateness : mapping of str to ndarray, optional
        The scenario's, where it is known already; see `capex.decision.appraise`.

    Returns
    -------
    Swings

    Raises
    ------
    InputError
        A value outside its bounds, or one that another input does not allow.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> found = swings(read_study(data_folder() / "studies" / "quenlow.toml"))
    >>> found.tried == 2 * len(found.each)
    True
    """
    held = dict(scenario or {})
    uncertain = [
        (path, quantity)
        for path, quantity in study.quantities()
        if quantity.low is not None and quantity.low != quantity.high and path not in held
    ]
    count = 1 + 2 * len(uncertain)
    batch: dict[str, npt.ArrayLike] = dict(held)
    for place, (path, quantity) in enumerate(uncertain):
        values = np.full(count, quantity.likely)
        values[1 + 2 * place : 3 + 2 * place] = quantity.low, quantity.high
        batch[path] = values
    late = held_lateness(study, scenario) if lateness is None else lateness
    gains = appraise(study, batch, keep="cash", lateness=late).net_present_value
    order = np.argsort(-gains[0], kind="stable")
    # an alternative that comes to the same whatever happens is no rival
    rivals = [place for place in order[1:] if np.ptp(gains[:, order[0]] - gains[:, place]) > 0]
    lead = gains[:, order[0]] - gains[:, rivals[0] if rivals else order[-1]]
    each = [
        (np.abs(lead[1 + 2 * k : 3 + 2 * k] - lead[0]).max(), k, path, quantity)
        for k, (path, quantity) in enumerate(uncertain)
    ]
    each.sort(key=lambda item: (-item[0], item[1]))
    return Swings(
        tuple(study.alternatives),
        gains[0],
        tuple(Swing(path, q, gains[1 + 2 * k : 3 + 2 * k]) for _, k, path, q in each),
    )
