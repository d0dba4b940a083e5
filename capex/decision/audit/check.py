"""One figure beside itself: as reported, and as found once more on another path.

Imports nothing from the package.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

__all__ = ["Check", "Kind", "skipped"]

Kind = Literal["money", "years", "rate", "ratio", "days", "share", "orders", "hours"]


@dataclass(frozen=True)
class Check:
    """A figure, its second derivation, and how far apart the two may be.

    Parameters
    ----------
    choice : str
        Key of the alternative.
    figure, path : str
        What is checked, and how it was worked out the second time.
    kind : str
        Unit of the figures [currency, year, 1/year, working day, -, orders, h].
    reported, recomputed : float or None
        None where there is no such figure; infinite for a payback beyond the horizon.
    tolerance : float
        Largest difference that is rounding, in the unit of the figures.
    worst : float, optional
        Largest difference of a part, where the figure is checked month by month or order by order.
    reason : str
        Why nothing was compared; empty where something was.
    """

    choice: str
    figure: str
    path: str
    kind: Kind
    reported: float | None
    recomputed: float | None
    tolerance: float
    worst: float | None = None
    reason: str = ""

    @property
    def difference(self) -> float:
        """Largest distance of the two, infinite where only one has a figure.

        Examples
        --------
        >>> Check("a", "Payback", "loop", "years", 2.5, 2.0, 0.1).difference
        0.5
        >>> Check("a", "Payback", "loop", "years", math.inf, math.inf, 0.1).difference
        0.0
        """
        one, other = self.reported, self.recomputed
        if one is None or other is None:
            apart = 0.0 if one is other else math.inf
        else:
            apart = 0.0 if one == other else abs(one - other)
        return max(apart, self.worst or 0.0) if not math.isnan(apart) else math.inf

    @property
    def is_skipped(self) -> bool:
        """Whether nothing was compared."""
        return bool(self.reason)

    @property
    def holds(self) -> bool:
        """Whether the two agree; true of what was skipped."""
        return self.is_skipped or self.difference <= self.tolerance


def skipped(choice: str, figure: str, path: str, kind: Kind, reason: str) -> Check:
    """Return a check that was not made, and why."""
    return Check(choice, figure, path, kind, None, None, 0.0, reason=reason)
