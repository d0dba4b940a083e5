"""Months of a flow summed to project years, and amounts of a year put back into its last month.

A project year is a tax year. Month 0, the day of decision, belongs to the first.
Imports numpy and the arrays of this folder.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from capex.finance.arrays import FloatArray

__all__ = ["at_year_ends", "by_year"]


def by_year(flow: FloatArray) -> FloatArray:
    """Return sums by project year.

    Parameters
    ----------
    flow : ndarray, shape (n, m + 1)
        By month, from 0.

    Returns
    -------
    ndarray, shape (n, years)

    Examples
    --------
    >>> by_year(np.ones((1, 19)))
    array([[13.,  6.]])
    """
    months = flow.shape[1] - 1
    years = -(-months // 12)
    padded = np.zeros((flow.shape[0], years * 12))
    padded[:, :months] = flow[:, 1:]
    padded[:, 0] += flow[:, 0]
    return np.asarray(padded.reshape(flow.shape[0], years, 12).sum(axis=2))


def at_year_ends(amounts: FloatArray, horizon: npt.NDArray[np.intp], months: int) -> FloatArray:
    """Return yearly amounts in the last month of each year, or at the horizon.

    Parameters
    ----------
    amounts : ndarray, shape (n, years)
    horizon : ndarray of int, shape (n,)
        Last month of each scenario.
    months : int
        Last month of the result.

    Returns
    -------
    ndarray, shape (n, m + 1)

    Examples
    --------
    >>> flow = at_year_ends(np.array([[5.0, 7.0]]), np.array([18]), 18)
    >>> float(flow[0, 12]), float(flow[0, 18]), float(flow.sum())
    (5.0, 7.0, 12.0)
    """
    flow = np.zeros((len(horizon), months + 1))
    every = np.arange(len(horizon))
    for year in range(amounts.shape[1]):
        flow[every, np.minimum(12 * (year + 1), horizon)] += amounts[:, year]
    return flow
