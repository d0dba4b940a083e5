"""What a payback counts, in words.

May import: numpy, and from capex `capex.decision`.
"""

from __future__ import annotations

import numpy as np

from capex.decision.outcome import Outcome

__all__ = ["PAYBACK_COUNTS", "payback_note"]

#: Said beside every payback.
PAYBACK_COUNTS = "resale and working capital count when they come back, at the horizon"


def payback_note(outcome: Outcome) -> str:
    """Return what a simple payback counts; says so where it rests on the horizon alone.

    Parameters
    ----------
    outcome : Outcome
        Its first scenario is told.

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> payback_note(appraise(study).outcomes["separate"])
    'resale and working capital count when they come back, at the horizon'
    """
    months, horizon = 12.0 * float(outcome.payback_period[0]), int(outcome.horizon[0])
    if np.isfinite(months) and months > horizon - 1:
        return "only by what comes back at the horizon: resale and working capital"
    return PAYBACK_COUNTS
