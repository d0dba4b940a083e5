"""How much of the spread of a figure each input brings: Sobol's indices, first order and total.

Inputs count as independent here, whatever correlations the study states.

Imports numpy, scipy, `capex.errors`, `capex.study`, `appraise`, `blocks` and, of this folder,
`distributions`, `draws` and `pieces`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import stats

from capex.decision.appraise import appraise, held_lateness
from capex.decision.blocks import in_blocks
from capex.decision.risk.distributions import InputDistribution
from capex.decision.risk.draws import off_the_ends
from capex.decision.risk.pieces import last_of
from capex.errors import InputError
from capex.study import Study

__all__ = ["Importance", "Model", "gains_model", "importance", "importance_in_pieces"]

FloatArray = npt.NDArray[np.float64]

#: Takes values of the inputs, shape (n, k); returns figures, shape (n, s).
Model = Callable[[FloatArray], FloatArray]

_RESAMPLES: Final = 200
_CONFIDENCE: Final = 0.95


@dataclass(frozen=True)
class Importance:
    """Shares of the variance of each figure, s figures, k inputs.

    Parameters
    ----------
    paths : tuple of str
        Of the inputs.
    first, total : ndarray, shape (s, k)
        Brought by the input alone, and by it together with others; NaN-free: a figure that does
        not vary has zeros.
    first_error, total_error : ndarray, shape (s, k)
        Half the width of the 95 % interval, by the bootstrap: as if the rows were drawn at random,
        so that it is too wide for the evener ones of Sobol.
    variance : ndarray, shape (s,)
        What is shared out [unit of the figure squared].
    count, seed : int
        Rows of the first sample, and the seed of it.
    """

    paths: tuple[str, ...]
    first: FloatArray
    total: FloatArray
    first_error: FloatArray
    total_error: FloatArray
    variance: FloatArray
    count: int
    seed: int


def gains_model(
    study: Study,
    inputs: Sequence[InputDistribution],
    held: Mapping[str, float] | None = None,
) -> Model:
    """Return the model that appraises: values of the inputs to the gain of every alternative.

    Parameters
    ----------
    study : Study
    inputs : sequence of InputDistribution
        k of them.
    held : mapping of str to float, optional
        Other inputs at other values than the study's, canonical units.

    Examples
    --------
    >>> from capex.decision.risk.distributions import uncertain_inputs
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> inputs = uncertain_inputs(study)
    >>> model = gains_model(study, inputs)
    >>> model(np.array([[one.quantity.likely for one in inputs]])).shape
    (1, 4)
    """
    late = held_lateness(study, held)

    def gains(values: FloatArray) -> FloatArray:
        scenarios = {one.path: values[:, k] for k, one in enumerate(inputs)}
        batch: dict[str, npt.ArrayLike] = {**(held or {}), **scenarios}
        return appraise(study, batch, keep="cash", lateness=late).net_present_value

    return gains


def importance(
    model: Model, inputs: Sequence[InputDistribution], count: int = 256, *, seed: int = 1
) -> Importance:
    """Return the Sobol indices of a model's figures.

    Parameters
    ----------
    model : callable
        See `Model`; called with count · (k + 2) rows, a block at a time, in copies of this process
        where there are many blocks: what it returns can be pickled, what it leaves behind is lost.
    inputs : sequence of InputDistribution
        k of them, at least one.
    count : int
        Rows of the first sample: a power of two, at least 32.
    seed : int
        Of the sample.

    Raises
    ------
    InputError
        No input, or a count that is no power of two.

    Notes
    -----
    Source: saltelli-2010 (estimators), through scipy.
    """
    return last_of(importance_in_pieces(model, inputs, count, seed=seed))


def importance_in_pieces(
    model: Model, inputs: Sequence[InputDistribution], count: int = 256, *, seed: int = 1
) -> Iterator[float | Importance]:
    """Yield the share of the sample that is done after each block, and the indices at the end.

    Parameters
    ----------
    model, inputs, count, seed
        As for `importance`.
    """
    if not inputs:
        raise InputError("inputs", "none", "must be at least one with a low and a high value")
    if count < 32 or count & (count - 1):
        raise InputError("count", count, "must be a power of two, at least 32")

    ranks = _sample(len(inputs), count, seed)
    columns = [one.values(row) for one, row in zip(inputs, ranks, strict=True)]
    rows, each = np.stack(columns, axis=1), []
    for block in in_blocks(lambda some: model(rows[some]), len(rows)):
        each.append(block)
        yield sum(map(len, each)) / len(rows)
    sample = _split(np.concatenate(each).T, len(inputs), count)
    varies = np.ptp(sample["f_A"], axis=1) > 1e-12 * np.abs(sample["f_A"]).max(initial=1.0)
    shape = (varies.size, len(inputs))
    first, total, first_error, total_error = (np.zeros(shape) for _ in range(4))
    if varies.any():
        moved = {name: figure[..., varies, :] for name, figure in sample.items()}
        first[varies], total[varies] = _indices(moved, count)
        first_error[varies], total_error[varies] = _half_widths(moved, count, seed)
    paths = tuple(one.path for one in inputs)
    variance = np.where(varies, np.concatenate([sample["f_A"], sample["f_B"]], 1).var(axis=1), 0.0)
    yield Importance(paths, first, total, first_error, total_error, variance, count, seed)


def _sample(inputs: int, count: int, seed: int) -> FloatArray:
    """Return ranks, (k, n (k + 2)): of the two first samples, and of their k mixtures."""
    points = off_the_ends(
        stats.qmc.Sobol(2 * inputs, rng=np.random.default_rng(seed)).random(count)
    )
    one, other = points[:, :inputs].T, points[:, inputs:].T
    mixed = np.repeat(one[:, None, :], inputs, axis=1)  # (k, mixtures, n)
    every = np.arange(inputs)
    mixed[every, every] = other
    return np.concatenate([one, other, mixed.reshape(inputs, -1)], axis=1)


def _split(figures: FloatArray, inputs: int, count: int) -> dict[str, FloatArray]:
    """Return the figures, (s, n (k + 2)), at the first samples, (s, n), and mixtures, (k, s, n)."""
    values = figures.reshape(figures.shape[0], inputs + 2, count)
    return {"f_A": values[:, 0], "f_B": values[:, 1], "f_AB": np.moveaxis(values[:, 2:], 1, 0)}


def _indices(sample: dict[str, FloatArray], count: int) -> tuple[FloatArray, FloatArray]:
    """Return both orders, each (s, k); a single figure of a single input goes to scipy twice."""
    inputs, figures = sample["f_AB"].shape[:2]
    if inputs * figures == 1:
        sample = {name: np.repeat(figure, 2, axis=-2) for name, figure in sample.items()}
    found = stats.sobol_indices(func=sample, n=count)
    first, total = (np.reshape(x, (-1, inputs)) for x in (found.first_order, found.total_order))
    return first[:figures], total[:figures]


def _half_widths(sample: dict[str, FloatArray], count: int, seed: int) -> FloatArray:
    """Return half of the bootstrap's interval of both orders, shape (2, s, k).

    One resample at a time: scipy's own bootstrap of its indices takes memory by the square of n.
    """
    rng = np.random.default_rng(seed)
    found = [
        _indices({name: figure[..., rows] for name, figure in sample.items()}, count)
        for rows in rng.integers(count, size=(_RESAMPLES, count))
    ]
    low, high = np.quantile(found, [(1.0 - _CONFIDENCE) / 2.0, (1.0 + _CONFIDENCE) / 2.0], axis=0)
    return np.asarray((high - low) / 2.0)
