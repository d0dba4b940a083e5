"""The height of a printer's swath from crossings of the carriage, counted by eye.

Imports numpy, `capex.errors`, `capex.study` and, of this folder, `reading`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from capex.errors import NotIdentifiedError, Problem
from capex.shopfloor.trial.reading import Reading
from capex.study import Quantity

__all__ = ["SwathHeight", "counted_swath_height"]

#: Widest interval that is accepted, as a share of the height. The figure is ours.
_WIDEST: Final = 0.1

_CALLED: Final = "swath height (the strip that one crossing of the carriage can print)"


@dataclass(frozen=True)
class SwathHeight:
    """A swath height that counted crossings allow.

    Parameters
    ----------
    value, low, high : float
        [m]; any height from `low` to `high` gives exactly the crossings that were counted.
    is_of_study : bool
        Whether the value is the study's own, which the counts confirm.
    """

    value: float
    low: float
    high: float
    is_of_study: bool

    @property
    def sentence(self) -> str:
        """What the counts say."""
        inches = f"{self.low / 0.0254:.4g} to {self.high / 0.0254:.4g} in"
        span = f"{self.low * 1000:.4g} to {self.high * 1000:.4g} mm ({inches})"
        if self.is_of_study:
            return f"The counted crossings confirm the study's {_CALLED}; they allow {span}."
        return f"The counted crossings allow a {_CALLED} of {span}."


def counted_swath_height(
    readings: Sequence[Reading], known: Quantity | None, trial: str
) -> SwathHeight | None:
    """Return the swath height that all counted crossings allow, or None where none were counted.

    Assumes the count of `printing.swath_count`: the film advances by height / passes.

    Parameters
    ----------
    readings : sequence of Reading
        Print runs.
    known : Quantity or None
        The study's swath height; kept where the counts allow it.
    trial : str
        Machine and work, for messages.

    Returns
    -------
    SwathHeight or None

    Raises
    ------
    NotIdentifiedError
        Counts that contradict each other, or too few crossings to tell.

    Examples
    --------
    >>> run = Reading(2, "printer", "print", 90.0, width=1.3, height=0.6, passes=8, crossings=103)
    >>> found = counted_swath_height([run], None, "print")
    >>> round(found.low, 4), round(found.high, 4)
    (0.05, 0.0505)

    Notes
    -----
    L·N/k ≤ h < L·N/(k − 1) with k = crossings − N + 1. Source `derivable`.
    """
    counted = [one for one in readings if one.crossings is not None]
    if not counted:
        return None
    lows, highs = [], []
    for one in counted:
        advances = (one.crossings or 0) - one.passes + 1
        way = one.printed_size[1] * one.passes
        if advances < 1:
            bound = f"are fewer than the {one.passes} passes"
            raise NotIdentifiedError(trial, [Problem("crossings", one.crossings, bound)])
        lows.append(way / advances)
        highs.append(way / (advances - 1) if advances > 1 else np.inf)
    low, high = max(lows), min(highs)
    if low >= high * (1.0 + 1e-9):
        rows = counted[lows.index(low)].row, counted[highs.index(high)].row
        bound = f"of rows {rows[0]} and {rows[1]} contradict each other; count again"
        raise NotIdentifiedError(trial, [Problem("crossings", None, bound)])
    if known is not None and low * (1.0 - 1e-9) <= known.likely <= high * (1.0 + 1e-9):
        value = known.likely
        return SwathHeight(value, min(low, value), max(high, value), is_of_study=True)
    if high > low * (1.0 + _WIDEST):
        bound = "are too few to tell the swath height; count them over a longer print"
        raise NotIdentifiedError(trial, [Problem("crossings", None, bound)])
    return SwathHeight((low + high) / 2.0, low, high, is_of_study=False)
