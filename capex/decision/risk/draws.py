"""Draws of the uncertain inputs: scrambled Sobol points, joined by a Gaussian copula.

The points come in independently scrambled sets of one size, so that the spread between the sets
is the simulation error of any mean over all of them. The same draws serve every alternative.

Imports numpy, scipy, `capex.errors`, `capex.study`, `decision.blocks` and, of this folder,
`distributions`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import special
from scipy.stats import qmc

from capex.decision.blocks import at_once
from capex.decision.risk.distributions import InputDistribution, uncertain_inputs
from capex.errors import InputError
from capex.study import Study
from capex.study.uncertainty import normal_correlations

__all__ = ["SETS", "Draws", "draw", "joined_ranks", "off_the_ends", "sobol_points"]

FloatArray = npt.NDArray[np.float64]

#: Independently scrambled sets of points.
SETS: Final = 16
_LEAST, _MOST = 32, 2**20
#: Ranks stay this far from 0 and 1.
_EDGE: Final = 2.0**-32


@dataclass(frozen=True)
class Draws:
    """Values of the uncertain inputs, n draws in `SETS` sets one after the other.

    Parameters
    ----------
    inputs : tuple of InputDistribution
        k of them.
    ranks : ndarray, shape (n, k)
        Of the values in their distributions, between 0 and 1.
    values : ndarray, shape (n, k)
        Canonical units.
    seed : int
    """

    inputs: tuple[InputDistribution, ...]
    ranks: FloatArray
    values: FloatArray
    seed: int

    @property
    def count(self) -> int:
        """How many draws."""
        return len(self.values)

    def scenarios(self, some: slice = slice(None)) -> dict[str, FloatArray]:
        """Return the draws as scenarios for `appraise`.

        Parameters
        ----------
        some : slice
            Of the draws.
        """
        return {one.path: self.values[some, k] for k, one in enumerate(self.inputs)}


def sobol_points(count: int, dimensions: int, seed: int) -> FloatArray:
    """Return scrambled Sobol points in `SETS` independent sets, shape (count, dimensions).

    Parameters
    ----------
    count : int
        A power of two, 32 to 1,048,576.
    dimensions : int
        At most 21,201.
    seed : int
        Not negative.

    Raises
    ------
    InputError
        A count or a seed outside its bounds.

    Examples
    --------
    >>> points = sobol_points(64, 2, seed=1)
    >>> points.shape, bool(np.all((points > 0) & (points < 1)))
    ((64, 2), True)

    Source: joe-kuo-2008 (directions), owen-1998 (scrambling), through scipy.
    """
    if not _LEAST <= count <= _MOST or count & (count - 1):
        raise InputError("draws", count, f"must be a power of two, {_LEAST} to {_MOST:,}")
    if seed < 0:
        raise InputError("seed", seed, "must be at least 0")
    if not dimensions:
        return np.zeros((count, 0))
    each = int(np.log2(count // SETS))
    generators = np.random.default_rng(seed).spawn(SETS)
    sets = [qmc.Sobol(dimensions, rng=generator).random_base2(each) for generator in generators]
    return off_the_ends(np.concatenate(sets))


def off_the_ends(ranks: FloatArray) -> FloatArray:
    """Return ranks that are neither 0 nor 1, where a normal variable has no end.

    Examples
    --------
    >>> bool(np.isfinite(special.ndtri(off_the_ends(np.array([0.0, 1.0])))).all())
    True
    """
    return np.asarray(np.clip(ranks, _EDGE, 1.0 - _EDGE))


def joined_ranks(points: FloatArray, correlations: FloatArray) -> FloatArray:
    """Return ranks that go together as a Gaussian copula says.

    Parameters
    ----------
    points : ndarray, shape (n, k)
        Independent, between 0 and 1, both excluded.
    correlations : ndarray, shape (k, k)
        Of the normal variables; positive semidefinite.

    Returns
    -------
    ndarray, shape (n, k)
        Uniform in each column; a column without correlations stays as it is.

    Examples
    --------
    >>> points = np.array([[0.9, 0.5], [0.2, 0.5]])
    >>> joined_ranks(points, np.ones((2, 2))).round(6).tolist()
    [[0.9, 0.9], [0.2, 0.2]]
    """
    together = np.flatnonzero((correlations != np.eye(len(correlations))).any(axis=0))
    ranks = points.copy()
    if together.size:
        factor = _lower_factor(correlations[np.ix_(together, together)])
        normal = special.ndtri(points[:, together]) @ factor.T
        ranks[:, together] = special.ndtr(normal)
    return ranks


def _lower_factor(matrix: FloatArray) -> FloatArray:
    """Return a lower triangle L with L Lᵀ = matrix, also where the matrix is singular."""
    values, vectors = np.linalg.eigh(matrix)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    lower = np.asarray(np.linalg.qr(root.T, mode="r")).T
    return np.asarray(lower * np.where(np.diag(lower) < 0.0, -1.0, 1.0))


def draw(
    study: Study,
    count: int = 4096,
    *,
    seed: int | None = None,
    held: Mapping[str, float] | None = None,
) -> Draws:
    """Return draws of the uncertain inputs of a study.

    Parameters
    ----------
    study : Study
    count : int
        A power of two, 32 to 1,048,576.
    seed : int, optional
        By default ``study.uncertainty.seed``.
    held : mapping of str to float, optional
        Inputs that stand at the user's values and are not drawn.

    Raises
    ------
    InputError
        A count or a seed outside its bounds, or drawn values that the study does not allow
        together: it names the draw.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> found = draw(read_study(data_folder() / "studies" / "quenlow.toml"), 64)
    >>> found.count, found.values.shape == found.ranks.shape
    (64, True)
    """
    inputs = tuple(one for one in uncertain_inputs(study) if one.path not in (held or {}))
    seed = study.uncertainty.seed if seed is None else seed
    points = sobol_points(count, len(inputs), seed)
    pairs = study.uncertainty.correlations
    ranks = joined_ranks(points, normal_correlations([one.path for one in inputs], pairs))
    columns = at_once(lambda k: inputs[k].values(ranks[:, k]), range(len(inputs)))
    values = np.stack(columns, axis=1) if columns else np.zeros((count, 0))
    found = Draws(inputs, ranks, values, seed)
    _check_together(study.replaced(dict(held or {})), found)
    return found


def _check_together(study: Study, drawn: Draws) -> None:
    """Refuse draws that the study does not allow, with the first of them."""

    def refused(some: slice) -> InputError | None:
        try:
            study.replaced(drawn.scenarios(some))
        except InputError as error:
            return error
        return None

    error = refused(slice(None))
    if error is None:
        return
    first, end = 0, drawn.count
    while end - first > 1:
        middle = (first + end) // 2
        before = refused(slice(first, middle))
        first, end = (first, middle) if before else (middle, end)
    error = refused(slice(first, end)) or error
    raise InputError(
        error.field, error.value,
        f"{error.bound}; so it is in draw {first + 1:,} of {drawn.count:,} of the uncertain "
        "inputs: narrow their low and high values until any of them can go together",
    )  # fmt: skip
