"""How an alternative stands with a lender, and the volume at which its cover reaches a level.

Imports numpy, `capex.study`, `capex.finance` and, of this folder, `appraise`, `blocks`,
`outcome` and `sign_changes`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import appraise
from capex.decision.blocks import BLOCK
from capex.decision.outcome import Outcome
from capex.decision.sign_changes import sign_changes
from capex.errors import InputError
from capex.finance.coverage import USUAL_COVER, CoverDefinition
from capex.finance.lender import LenderView
from capex.study import Study

__all__ = ["CoverVolume", "VolumeReason", "cover_volumes", "lender_view_of"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]
_DEMAND: Final = "levers.demand"
_FIRST: Final = 25  # volumes of the first sweep


class VolumeReason(IntEnum):
    """Why there is, or is not, a volume at which cover reaches the level."""

    FOUND = 0
    NO_DEBT_SERVICE = 1
    ALWAYS = 2
    CAPACITY = 3
    NEVER = 4

    @property
    def words(self) -> str:
        """The reason as a sentence for the screen."""
        return _WORDS[self]


_WORDS = {
    VolumeReason.FOUND: "cover reaches the level at this volume",
    VolumeReason.NO_DEBT_SERVICE: "nothing is due to a lender, so there is no cover",
    VolumeReason.ALWAYS: "cover is above the level at the lowest volume tried too",
    VolumeReason.CAPACITY: "cover stays below the level: a station is full at the highest volume "
    "tried, so more orders bring little more",
    VolumeReason.NEVER: "cover stays below the level at every volume tried",
}


@dataclass(frozen=True)
class CoverVolume:
    """The lowest volume at which an alternative's least yearly cover reaches a level.

    Parameters
    ----------
    key : str
        Of the alternative.
    level : float
        Of cover [-].
    volume : float
        Factor on the orders of the study [-]; NaN where the reason is not ``FOUND``.
    reason : VolumeReason
    stays : bool
        Whether cover is at the level or above at all higher volumes tried.
    tried : tuple of float
        Lowest and highest volume tried.
    """

    key: str
    level: float
    volume: float
    reason: VolumeReason
    stays: bool
    tried: tuple[float, float]


def lender_view_of(outcome: Outcome, definition: CoverDefinition = USUAL_COVER) -> LenderView:
    """Return what a lender reads of an outcome.

    Parameters
    ----------
    outcome : Outcome
        With its details.
    definition : CoverDefinition
        What cover counts as cash.

    Raises
    ------
    InputError
        An appraisal that kept only cash.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> found = appraise(read_study(data_folder() / "studies" / "quenlow.toml"))
    >>> lender_view_of(found.outcomes["separate"]).by_year.ratio.shape
    (1, 7)
    """
    path = outcome.path
    alternative = path.study.alternatives[outcome.key]
    cash = outcome.month_end_cash
    return LenderView(path.study, alternative, path.ledger, cash, definition)


def cover_volumes(
    study: Study,
    level: float = 1.0,
    scenario: Mapping[str, float] | None = None,
    *,
    definition: CoverDefinition = USUAL_COVER,
    low: float = 0.05,
    high: float = 3.0,
    within: float = 1e-4,
) -> tuple[CoverVolume, ...]:
    """Return the lowest volume at which each alternative's cover reaches a level in every year.

    A sweep finds where cover first reaches the level, and rounds of `appraise` narrow the brackets
    of all alternatives together. A rise and fall between two neighbouring volumes of the sweep
    goes unseen.

    Parameters
    ----------
    study : Study
    level : float
        Of the least yearly cover [-]; for the lender's own, ``study.money.lender.minimum_cover``.
    scenario : mapping of str to float, optional
        Inputs that differ from the study, canonical units; demand itself is what is sought.
    definition : CoverDefinition
        What cover counts as cash.
    low, high : float
        Range of volumes, factors on the orders of the study [-].
    within : float
        Width of an answer's bracket [-].

    Returns
    -------
    tuple of CoverVolume
        One an alternative, in the order of the study.

    Raises
    ------
    InputError
        A range that is none, or a value outside its bounds.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> [found.reason.name for found in cover_volumes(study, within=0.01)]
    ['NO_DEBT_SERVICE', 'FOUND', 'FOUND', 'FOUND']
    """
    if not 0.0 < low < high:
        raise InputError("low", low, f"must be above 0 and below high, {high:g}")
    if not within > 0.0:
        raise InputError("within", within, "must be above 0")
    if not np.isfinite(level):
        raise InputError("level", level, "must be a finite number")
    volumes = np.geomspace(low, high, _FIRST)
    covers, loads = _least_covers(study, volumes, scenario, definition)
    meets = covers >= level
    first = meets.argmax(axis=0)

    def above(covers: FloatArray) -> FloatArray:
        # at the level is reached: a zero counts as the least above it; no cover is not
        over = np.where(covers == level, np.finfo(np.float64).tiny, covers - level)
        return np.where(np.isnan(covers), -1.0, over)

    def sought(some: FloatArray) -> FloatArray:
        return above(_least_covers(study, some, scenario, definition)[0])

    changes = sign_changes(sought, volumes, above(covers), within=within)
    reached = {change.column: change.high for change in changes[::-1] if change.rises}
    return tuple(
        CoverVolume(
            key, level, reached[k] if reason is VolumeReason.FOUND else float("nan"),
            reason, bool(meets[first[k] :, k].all() and meets[:, k].any()), (low, high),
        )
        for k, key in enumerate(study.alternatives)
        for reason in (_reason(covers[:, k], meets[:, k], float(loads[k])),)
    )  # fmt: skip


def _least_covers(
    study: Study,
    volumes: FloatArray,
    scenario: Mapping[str, float] | None,
    definition: CoverDefinition,
) -> tuple[FloatArray, FloatArray]:
    """Return the least yearly cover, (s, alternatives), and the highest load at the last volume."""
    covers = []
    for some in np.split(volumes, range(BLOCK, volumes.size, BLOCK)):
        found = appraise(study, {**(scenario or {}), _DEMAND: some}, keep="everything")
        views = [lender_view_of(outcome, definition) for outcome in found.outcomes.values()]
        covers.append(np.stack([view.lowest_year.ratio for view in views], axis=1))
    loads = np.array([outcome.load[-1].max() for outcome in found.outcomes.values()])
    return np.concatenate(covers), loads


def _reason(covers: FloatArray, meets: npt.NDArray[np.bool_], load: float) -> VolumeReason:
    """Return why there is a volume or none."""
    if np.isnan(covers).all():
        return VolumeReason.NO_DEBT_SERVICE
    if meets[0]:
        return VolumeReason.ALWAYS
    if meets.any():
        return VolumeReason.FOUND
    return VolumeReason.CAPACITY if load >= 1.0 else VolumeReason.NEVER
