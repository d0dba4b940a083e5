"""What it is worth to find out more before signing: of everything, and of one input alone.

Imports numpy, `capex.errors` and, of this folder, `chances` and `draws`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.risk.chances import Estimate, mean
from capex.decision.risk.draws import SETS, Draws

__all__ = ["InputInformation", "perfect_information", "value_of_knowing"]

FloatArray = npt.NDArray[np.float64]

#: Degree of the polynomials in an input's rank that stand for what is expected once it is known.
_DEGREE: Final = 5


def perfect_information(gains: FloatArray) -> Estimate:
    """Return the expected value of perfect information: E[max] − max E.

    What knowing every input beforehand would be worth, and so the most that any inquiry is.

    Parameters
    ----------
    gains : ndarray, shape (n, a) [currency]
        In the order of the draws; n a multiple of `SETS`.

    Returns
    -------
    Estimate
        At least 0; 0 where one alternative leaves most in every draw [currency].

    Examples
    --------
    A large plant leaves 200 or −180, a small one 100 or −20, none 0, either market as likely.

    >>> gains = np.tile([[200.0, 100.0, 0.0], [-180.0, -20.0, 0.0]], (16, 1))
    >>> perfect_information(gains).value
    60.0

    Source: render-decision-analysis (the example, in thousands).
    """
    best = int(gains.mean(axis=0).argmax())
    return mean(gains.max(axis=1) - gains[:, best])


@dataclass(frozen=True)
class InputInformation:
    """What it is worth to know one input before signing.

    Parameters
    ----------
    path : str
        Of the input.
    worth : Estimate
        Expected value of knowing it [currency].
    share : float
        Of the value of knowing everything; 0 where that is 0. Shares do not add up to 1.
    share_error : float
        Half the width of the share's 95 % interval: of the simulation alone.
    """

    path: str
    worth: Estimate
    share: float
    share_error: float


def value_of_knowing(draws: Draws, gains: FloatArray) -> tuple[InputInformation, ...]:
    """Return what knowing each input alone is worth, most first.

    What each alternative is expected to leave once the input is known is fitted to the draws, as
    a polynomial in the input's rank: E over the input of max over the alternatives, less
    max of E.

    Parameters
    ----------
    draws : Draws
    gains : ndarray, shape (n, a) [currency]

    Notes
    -----
    Fitted on all other sets of points for each set, so that noise is not taken for knowledge. The
    error of a share is that of worth − share × worth of everything, draw by draw, as both come
    from the same draws.

    Source: strong-oakley-2014 (regression for partial perfect information).
    """
    usual = int(gains.mean(axis=0).argmax())
    everything = gains.max(axis=1) - gains[:, usual]
    whole = mean(everything).value
    found = []
    for k, one in enumerate(draws.inputs):
        gain = _gain_of_choosing(draws.ranks[:, k], gains, usual)
        worth = mean(gain)
        share = worth.value / whole if whole > 0 else 0.0
        off = mean(gain - share * everything).error / whole if whole > 0 else 0.0
        known = Estimate(max(worth.value, 0.0), worth.error)
        found.append(InputInformation(one.path, known, max(share, 0.0), off))
    return tuple(sorted(found, key=lambda known: -known.worth.value))


def _gain_of_choosing(ranks: FloatArray, gains: FloatArray, usual: int) -> FloatArray:
    """Return what is gained in each draw by choosing by what the other sets say of the rank."""
    basis = np.polynomial.legendre.legvander(2.0 * ranks - 1.0, _DEGREE)
    each = np.arange(len(gains)) // (len(gains) // SETS)
    products = np.stack([basis[each == s].T @ basis[each == s] for s in range(SETS)])
    targets = np.stack([basis[each == s].T @ gains[each == s] for s in range(SETS)])
    gain = np.empty(len(gains))
    for s in range(SETS):
        here = each == s
        fitted = np.linalg.solve(products.sum(axis=0) - products[s], targets.sum(0) - targets[s])
        chosen = (basis[here] @ fitted).argmax(axis=1)
        rows = gains[here]
        gain[here] = rows[np.arange(len(rows)), chosen] - rows[:, usual]
    return gain
