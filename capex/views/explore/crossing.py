"""Where two choices change places along the volume, in words.

Texts that come from a user are escaped here. May import: the standard library, and from capex
decision and `views.risk`.
"""

from __future__ import annotations

from html import escape

import numpy as np

from capex.decision.risk.crossover_range import CrossoverRange
from capex.views.risk import chance_text, share_text

__all__ = ["crossing_html"]


def crossing_html(found: CrossoverRange, names: tuple[str, str], seed: int) -> str:
    """Return how likely two choices change places, where, and what may go unseen.

    Parameters
    ----------
    found : CrossoverRange
    names : tuple of two str
    seed : int
        Of the draws.
    """
    low, high = found.searched
    said = (
        f"Chance that {names[0]} and {names[1]} change places between {low:.0%} and "
        f"{high:.0%} of today's orders: {chance_text(found.crosses)}."
    )
    return (
        f"<p>{escape(said)}{escape(_where(found))} {found.volumes.size} draws, seed {seed}; ± is "
        "the simulation error.</p><p class='capex-note'>Each draw is looked at from the lowest "
        "volume upwards and the first change counts. Two changes between neighbours of the "
        "volumes looked at go unseen.</p>"
    )


def _where(found: CrossoverRange) -> str:
    """Return where they change places, by percentiles only where enough draws do."""
    if found.extremes is None:
        return ""
    least, most = found.extremes
    count = int(np.isfinite(found.volumes).sum())
    if count == 1:
        return f" The one draw in which they do does so at {least:.0%}."
    if found.middle is None:
        return (
            f" In the {count} draws in which they do: at {least:.0%} at the least and {most:.0%} "
            "at the most, too few for more."
        )
    middle = f" Where they do: at {share_text(found.middle)} in the middle;"
    if found.ends is None:
        return (
            f"{middle} at {least:.0%} at the least and {most:.0%} at the most of {count} draws, "
            "too few for percentiles nearer the ends."
        )
    first, last = (share_text(value) for value in found.ends)
    return f"{middle} nine draws of ten lie between {first} and {last}."
