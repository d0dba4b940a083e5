"""Roots between 0 and 1 of many polynomials at once.

Coefficients stand in rows, (n, degree + 1), the constant first. Every root is isolated, then
refined: written in the Bernstein basis of an interval, a polynomial has at most as many roots
inside as its coefficients change sign, and exactly one if they do so once, so intervals are
halved until that tells (lane-riesenfeld). All weights are positive and
sum to one, which keeps rounding small at any degree that a cash flow has.

Imports numpy and `capex.finance.arrays`.
"""

from __future__ import annotations

from functools import lru_cache
from math import comb

import numpy as np
from numpy.typing import NDArray

from capex.finance.arrays import FloatArray

__all__ = ["first_sign", "row_total", "sign_sides", "single_root", "unit_roots"]

IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]

_NEWTON_STEP = 1e-9  # share of the root; the error left after such a step is about its square
_HALVING = 1e-12  # share of the root; the error left after such a halving
_DEPTH = 27  # halvings before two roots count as one: 2^-27 is about what rounding can tell apart
_SAME = 1e-6  # roots nearer than this are one double root


def row_total(rows: FloatArray) -> FloatArray:
    """Sum of each row, exactly 0 where it is 0 but for rounding.

    Parameters
    ----------
    rows : ndarray, (n, degree + 1)
        Of any unit.

    Returns
    -------
    ndarray, (n,)

    Examples
    --------
    >>> row_total(np.array([[-1.0, 0.3, 0.3, 0.4], [-1.0, 0.3, 0.3, 0.5]])).round(9)
    array([0. , 0.1])
    """
    total = rows.sum(axis=1)
    allowance = 4.0 * np.finfo(np.float64).eps * np.abs(rows).sum(axis=1)
    return np.where(np.abs(total) <= allowance, 0.0, total)


def first_sign(rows: FloatArray) -> FloatArray:
    """Sign of the first element that is not zero; 0 in a row of zeros.

    Parameters
    ----------
    rows : ndarray, (n, degree + 1)
        Of any unit.

    Returns
    -------
    ndarray, (n,)
        −1, 0 or 1.

    Examples
    --------
    >>> first_sign(np.array([[0.0, -3.0, 2.0], [0.0, 0.0, 0.0]]))
    array([-1.,  0.])
    """
    index = np.argmax(rows != 0.0, axis=1)
    return np.asarray(np.sign(rows[np.arange(len(rows)), index]))


def sign_sides(rows: FloatArray) -> tuple[BoolArray, BoolArray]:
    """Whether a row has both signs, and whether it then changes sign exactly once.

    Parameters
    ----------
    rows : ndarray, (n, degree + 1)
        Of any unit.

    Returns
    -------
    both, once : ndarray of bool, (n,)

    Examples
    --------
    >>> both, once = sign_sides(np.array([[-1.0, 0.0, 2.0], [-1.0, 2.0, -1.0], [1.0, 1.0, 1.0]]))
    >>> both.tolist(), once.tolist()
    ([True, True, False], [True, False, False])
    """
    positive, negative = rows > 0.0, rows < 0.0
    end = rows.shape[1] - 1
    first_positive, first_negative = positive.argmax(axis=1), negative.argmax(axis=1)
    last_positive = end - positive[:, ::-1].argmax(axis=1)
    last_negative = end - negative[:, ::-1].argmax(axis=1)
    both = np.asarray(positive.any(axis=1) & negative.any(axis=1))
    apart = (last_positive < first_negative) | (last_negative < first_positive)
    return both, both & apart


def single_root(rows: FloatArray, sign: FloatArray) -> FloatArray:
    """Root in (0, 1), the only one, of each row's polynomial.

    Parameters
    ----------
    rows : ndarray, (n, degree + 1)
        Coefficients, the constant first.
    sign : ndarray, (n,)
        Sign of the polynomial just above 0.

    Returns
    -------
    ndarray, (n,)

    Examples
    --------
    >>> single_root(np.array([[-1.0, 0.0, 4.0]]), np.array([-1.0]))
    array([0.5])
    """
    return _bracketed_root(rows, np.zeros(len(rows)), np.ones(len(rows)), sign, _mean_root(rows))


def unit_roots(
    rows: FloatArray, total: FloatArray, *, with_end: bool
) -> tuple[IntArray, FloatArray]:
    """Roots between 0 and 1 of every row's polynomial, as (row, root), rising in each row.

    Parameters
    ----------
    rows : ndarray, (n, degree + 1)
        Coefficients, the constant first.
    total : ndarray, (n,)
        Value at 1, from `row_total`.
    with_end : bool
        Whether a root at 1 itself counts; a root at 0 never does.

    Returns
    -------
    owner : ndarray of int, (number of roots,)
        Row of each root.
    root : ndarray, (number of roots,)
        Roots nearer than 1e-6 are given as one.

    Examples
    --------
    >>> rows = np.array([[-1.0, 3.0, -2.0]])
    >>> unit_roots(rows, row_total(rows), with_end=True)
    (array([0, 0]), array([0.5, 1. ]))
    """
    owner, low, high, sign = _brackets(rows, total)
    root = low.copy()
    open_ = np.flatnonzero(low < high)
    root[open_] = _bracketed_root(rows[owner[open_]], low[open_], high[open_], sign[open_])
    ends = np.flatnonzero(total == 0.0)
    owner, root = np.concatenate([owner, ends]), np.concatenate([root, np.ones(len(ends))])
    order = np.lexsort((root, owner))
    owner, root = owner[order], root[order]
    # Of roots that count as one the last is kept, so that a root at 1 stays exact.
    kept = np.ones(len(root), dtype=np.bool_)
    kept[:-1] = (np.diff(owner) > 0) | (np.diff(root) > _SAME)
    if not with_end:
        kept &= root < 1.0
    return owner[kept], root[kept]


def _mean_root(rows: FloatArray) -> FloatArray:
    """First guess: the root if each side's terms stood together at their mean power; at most 1."""
    moments = np.stack([np.ones(rows.shape[1]), np.arange(rows.shape[1])], axis=1)
    gain, gain_power = (np.maximum(rows, 0.0) @ moments).T
    loss, loss_power = (np.maximum(-rows, 0.0) @ moments).T
    apart = gain_power / gain - loss_power / loss
    exponent = np.divide(1.0, apart, out=np.zeros(len(rows)), where=apart != 0.0)
    return np.asarray(np.exp(np.minimum(np.log(loss / gain) * exponent, 0.0)))


@lru_cache(maxsize=8)
def _bases(degree: int) -> tuple[FloatArray, FloatArray]:
    """Matrices from powers to the Bernstein basis, and to that of the left half interval."""
    size = degree + 1
    powers, left = np.zeros((size, size)), np.zeros((size, size))
    for i in range(size):
        for j in range(i + 1):
            powers[i, j] = comb(i, j) / comb(degree, j)
            left[i, j] = comb(i, j) / 2**i
    return powers, left


def _brackets(
    rows: FloatArray, total: FloatArray
) -> tuple[IntArray, FloatArray, FloatArray, FloatArray]:
    """Intervals in (0, 1) with one root each: row, low, high, sign just above low.

    A root met exactly at a halving, or several that cannot be told apart, come as low = high.
    """
    powers, left = _bases(rows.shape[1] - 1)
    control = rows @ powers.T
    control[:, -1] = total
    owner, low, width = np.arange(len(rows)), np.zeros(len(rows)), 1.0
    found: list[tuple[IntArray, FloatArray, FloatArray, FloatArray]] = []
    for depth in range(_DEPTH + 1):
        both, once = sign_sides(control)
        several = both & ~once
        found.append((owner[once], low[once], low[once] + width, first_sign(control[once])))
        control, owner, low, width = control[several], owner[several], low[several], width / 2.0
        middle = low + width
        if len(owner) == 0:
            break
        lower, upper = control @ left.T, control @ left[::-1, ::-1].T
        upper[:, 0] = lower[:, -1]
        met = (lower[:, -1] == 0.0) | (depth == _DEPTH)
        found.append((owner[met], middle[met], middle[met], np.zeros(int(met.sum()))))
        control = np.concatenate([lower, upper])
        owner, low = np.concatenate([owner, owner]), np.concatenate([low, middle])
    rows_, lows, highs, signs = (np.concatenate(parts) for parts in zip(*found, strict=True))
    return rows_, lows, highs, signs


def _bracketed_root(
    rows: FloatArray,
    low: FloatArray,
    high: FloatArray,
    sign: FloatArray,
    start: FloatArray | None = None,
) -> FloatArray:
    """Root of each row's polynomial inside its bracket, by Newton steps and halving."""
    root = (low + high) / 2.0 if start is None else start.copy()
    result, index = root.copy(), np.arange(len(rows))
    terms, moved = np.ascontiguousarray(rows.T), high - low
    done = np.zeros(len(rows), dtype=np.bool_)
    while len(index):
        value, slope = _value_and_slope(terms, root)
        before = value * sign > 0.0
        low, high = np.where(before, root, low), np.where(before, high, root)
        step = np.divide(value, slope, out=np.full(len(root), np.inf), where=slope != 0.0)
        step[value == 0.0] = 0.0
        size = np.abs(step)
        settled = size <= _NEWTON_STEP * root
        fresh = root - step
        useful = (fresh > low) & (fresh < high) & (size <= moved / 2.0)
        fresh = np.where(useful | settled, fresh, (low + high) / 2.0)
        moved = np.abs(fresh - root)
        root = fresh
        done |= settled | (moved <= _HALVING * root)
        if 2 * np.count_nonzero(done) >= len(done):  # dropping rows costs a copy of the others
            result[index[done]] = root[done]
            keep = np.flatnonzero(~done)
            index, root, terms, done = index[keep], root[keep], terms[:, keep], done[keep]
            low, high, sign, moved = low[keep], high[keep], sign[keep], moved[keep]
    return result


def _value_and_slope(terms: FloatArray, at: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Polynomials with coefficients ``terms`` (T+1, n), and their slopes, by Horner's rule."""
    value, slope = terms[-1].copy(), np.zeros(len(at))
    for term in terms[-2::-1]:
        slope *= at
        slope += value
        value *= at
        value += term
    return value, slope
