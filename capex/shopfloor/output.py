"""What an alternative makes of the demand, month by month.

Imports numpy and `capex.shopfloor.arrays`.
"""

from __future__ import annotations

from dataclasses import dataclass

from capex.shopfloor.arrays import FloatArray

__all__ = ["Output"]


@dataclass(frozen=True)
class Output:
    """What an alternative makes.

    Parameters
    ----------
    demand : ndarray, shape (n, j, m)
        Orders asked for.
    made : ndarray, shape (n, v, m)
        Orders made in the house, by route.
    bought_in, refused : ndarray, shape (n, j, m)
        Orders bought in and turned away.
    overtime : ndarray, shape (n, m)
        Overtime of the whole cell [s].
    asked : ndarray, shape (n, k, m)
        Station time that making everything in the house would take [s].
    used : ndarray, shape (n, k, m)
        Station time that is worked [s].
    available : ndarray, shape (n, k, m)
        Station time in normal hours [s].
    capacity : ndarray, shape (n, k, m)
        The same with the overtime that is worked [s].
    worth : ndarray, shape (n, k, m)
        Contribution that one more second of a station would add [currency/s].
    """

    demand: FloatArray
    made: FloatArray
    bought_in: FloatArray
    refused: FloatArray
    overtime: FloatArray
    asked: FloatArray
    used: FloatArray
    available: FloatArray
    capacity: FloatArray
    worth: FloatArray
