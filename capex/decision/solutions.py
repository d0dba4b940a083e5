"""Figures that are sought: the value of an input at which another figure reaches a level.

Imports numpy, `capex.study`, `capex.finance` and, of this folder, `appraise`, `cover`,
`machine_price`, `outcome`, `price_limit` and `walk_away`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import appraise
from capex.decision.cover import cover_volumes
from capex.decision.machine_price import for_cash, machine_price
from capex.decision.outcome import Outcome
from capex.decision.price_limit import PriceReason
from capex.decision.walk_away import walk_away
from capex.errors import InputError
from capex.finance.purchases import Purchases
from capex.study import Study

__all__ = ["Solution", "Solver", "volume_for_cover", "walk_away_price"]

FloatArray = npt.NDArray[np.float64]
_DEMAND: Final = "levers.demand"
_WITHIN: Final = 1e-9  # width of the bracket of a volume [-]


@dataclass(frozen=True)
class Solution:
    """Where a figure that is sought was found.

    Parameters
    ----------
    value : float or None
        None where there is none.
    words : str
        Of which machine it is and against what it was found, or why there is none.
    study : Study
        With the input at that value; as it stands where there is none.
    paths : tuple of str
        Of the inputs that say it: they are set, so that they are not behind it.
    read : callable
        The value that an outcome stands for, shape (n,).
    against : str or None
        Key of the alternative that the lines are taken over; None for the baseline.
    """

    value: float | None
    words: str
    study: Study
    paths: tuple[str, ...]
    read: Callable[[Outcome], FloatArray]
    against: str | None = None


#: From a study, an alternative's key and a machine's, if one is named, to where the figure is.
Solver = Callable[[Study, str, str | None], Solution]


def walk_away_price(study: Study, alternative: str, machine: str | None = None) -> Solution:
    """Return the highest price of a machine at which an alternative is behind no other.

    The lower of the limits against the baseline and against the best rival; one of them where the
    other is none.

    Parameters
    ----------
    study : Study
        With the scenario's values in place.
    alternative : str
        Key.
    machine : str, optional
        Key of a machine that it buys; by default the first.

    Returns
    -------
    Solution

    Raises
    ------
    InputError
        An unknown alternative, or a machine that it does not buy.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> walk_away_price(study, "keep").words
    'it buys no machine that could be walked away from'
    """
    choice = study.alternative(alternative)
    bought = {one.machine: k for k, one in reversed([*enumerate(choice.machines)]) if not one.owned}
    if machine is not None and machine not in bought:
        known = ", ".join(sorted(bought)) or "none"
        raise InputError("machine", machine, f"is not one that {alternative} buys; known: {known}")
    if not bought or choice.baseline:
        words = "it buys no machine that could be walked away from"
        return Solution(None, words, study, (), lambda outcome: np.full(1, np.nan))
    place = min(bought.values()) if machine is None else bought[machine]
    here = appraise(study, keep="everything")
    limits = [
        walk_away(study, alternative, place, key, here=here) for key in (study.baseline, None)
    ]
    priced = [limit for limit in limits if limit.price is not None]
    name = study.machines[choice.machines[place].machine].name

    def read(outcome: Outcome) -> FloatArray:
        path = outcome.path.study
        return Purchases(path, path.alternatives[alternative], 1).unit_price(place)

    if not priced:
        return Solution(None, f"{name}: {limits[0].reason.words}", study, (), read)
    limit = min(priced, key=lambda each: each.price or 0.0)
    against = limit.against or study.baseline
    moved = machine_price(study, alternative, place)
    there = for_cash(study).replaced(moved.scenarios(np.array([limit.price])))
    words = f"{name}, level with {study.alternatives[against].name}"
    if limits[1].reason is PriceReason.NOT_FREE:
        words += f"; against the best rival {limits[1].reason.words}"
    return Solution(limit.price, words, there, moved.paths, read, against)


def volume_for_cover(study: Study, alternative: str, machine: str | None = None) -> Solution:
    """Return the lowest volume at which operating cash covers the debt service of every year.

    Parameters
    ----------
    study : Study
        With the scenario's values in place.
    alternative : str
        Key.
    machine : str, optional
        No part of it.

    Returns
    -------
    Solution

    Raises
    ------
    InputError
        An unknown alternative.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> volume_for_cover(study, "keep").words
    'nothing is due to a lender, so there is no cover'
    """
    study.alternative(alternative)
    found = next(each for each in cover_volumes(study, within=_WITHIN) if each.key == alternative)

    def read(outcome: Outcome) -> FloatArray:
        return outcome.path.study.levers.demand.si

    if np.isnan(found.volume):
        return Solution(None, found.reason.words, study, (), read)
    there = study.replaced({_DEMAND: found.volume})
    return Solution(found.volume, found.reason.words, there, (_DEMAND,), read)
