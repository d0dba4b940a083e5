"""Scenarios that go the one path a block at a time, so that whoever waits can stop between blocks.

Imports numpy, `capex.study` and, of `capex.decision`, `appraise` and `blocks`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import Lateness, appraise
from capex.decision.blocks import in_blocks, of_block
from capex.study import Study

__all__ = ["gains_by_block", "last_of"]

FloatArray = npt.NDArray[np.float64]
T = TypeVar("T")


def gains_by_block(
    study: Study, scenarios: Mapping[str, npt.ArrayLike], count: int, lateness: Lateness | None
) -> Iterator[FloatArray]:
    """Yield the gains of the alternatives, a block of scenarios after the other.

    Parameters
    ----------
    study : Study
    scenarios : mapping of str to array_like, shape (count,) or scalar
        Inputs that differ, canonical units.
    count : int
        Scenarios.
    lateness : mapping of str to ndarray, or None
        Shares of late orders that are held; see `capex.decision.appraise`.

    Yields
    ------
    ndarray, shape (b, a) [currency]

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> blocks = gains_by_block(study, {"levers.demand": np.linspace(0.9, 1.1, 260)}, 260, None)
    >>> [gains.shape for gains in blocks]
    [(256, 4), (4, 4)]
    """
    given = {path: np.atleast_1d(np.asarray(v, dtype=np.float64)) for path, v in scenarios.items()}

    def gains(some: slice) -> FloatArray:
        here = of_block(given, some)
        found = appraise(study, here, keep="cash", lateness=lateness).net_present_value
        return np.broadcast_to(found, (some.stop - some.start, found.shape[1]))

    yield from in_blocks(gains, count)


def last_of(pieces: Iterator[float | T]) -> T:
    """Return what work in pieces comes to: the last of them, after the shares done.

    Examples
    --------
    >>> last_of(iter([0.5, 1.0, "done"]))
    'done'
    """
    for found in pieces:
        piece = found
    return piece  # type: ignore[return-value]
