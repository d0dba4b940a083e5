"""Which uncertain inputs go together, and the seed that they are drawn with.

A rank correlation (Spearman's) says how far the ranks of two inputs move together: 1 where the
one is high whenever the other is. All of them must be possible at once.

Imports numpy, pydantic, `capex.errors` and `capex.study.parts`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Annotated, Final

import numpy as np
import numpy.typing as npt
from pydantic import Field

from capex.errors import Problem
from capex.study.parts import Part

if TYPE_CHECKING:
    from capex.study.study import Study

__all__ = ["UNCERTAINTY_RULES", "RankCorrelation", "Uncertainty", "normal_correlations"]

#: Least eigenvalue of a matrix of correlations, below zero by rounding only.
_ROUNDING: Final = -1e-9

InputPath = Annotated[str, Field(min_length=1, max_length=200)]


class RankCorrelation(Part):
    """How two uncertain inputs go together.

    `rank` is 1 where the one is high whenever the other is, -1 where it is low then, 0 where
    neither says anything of the other.
    """

    one: InputPath
    other: InputPath
    rank: Annotated[float, Field(ge=-1.0, le=1.0)]


class Uncertainty(Part):
    """What the draws of the uncertain inputs obey.

    The same `seed` gives the same draws.
    """

    seed: Annotated[int, Field(ge=0, le=2**32 - 1)] = 1
    correlations: tuple[RankCorrelation, ...] = Field(default=(), strict=False)


def normal_correlations(
    paths: Sequence[str], correlations: Sequence[RankCorrelation]
) -> npt.NDArray[np.float64]:
    """Return the correlations of the normal variables whose ranks the inputs take.

    Of two jointly normal variables with correlation r, the ranks have correlation
    6/π · arcsin(r/2); each pair's r is found from its rank correlation by that.

    Parameters
    ----------
    paths : sequence of str
        Inputs, k of them.
    correlations : sequence of RankCorrelation
        Pairs that are not all among the inputs are passed over.

    Returns
    -------
    ndarray, shape (k, k)
        Symmetric, 1 on the diagonal.

    Examples
    --------
    >>> pair = RankCorrelation(one="a", other="b", rank=0.5)
    >>> normal_correlations(["a", "b"], [pair]).round(4).tolist()
    [[1.0, 0.5176], [0.5176, 1.0]]

    Source: pearson-1907 (rank correlation of a normal pair).
    """
    place = {path: k for k, path in enumerate(paths)}
    matrix = np.eye(len(place))
    for pair in correlations:
        if pair.one in place and pair.other in place:
            one, other = place[pair.one], place[pair.other]
            matrix[one, other] = matrix[other, one] = 2.0 * np.sin(np.pi / 6.0 * pair.rank)
    return matrix


def check_correlated_inputs(study: Study) -> Iterator[Problem]:
    """Yield pairs that name no input, an input with itself, or a pair twice.

    An input may be certain: one whose spread is taken away for a trial leaves the study whole.
    """
    known = {path for path, _ in study.quantities()}
    seen: set[frozenset[str]] = set()
    for k, pair in enumerate(study.uncertainty.correlations):
        path, both = f"uncertainty.correlations.{k}", frozenset({pair.one, pair.other})
        for name in ("one", "other"):
            value = getattr(pair, name)
            if value not in known:
                yield Problem(f"{path}.{name}", value, "must be the path of an input")
        if len(both) == 1:
            yield Problem(path, pair.one, "must name two different inputs")
        elif both in seen:
            yield Problem(path, pair.one, f"and {pair.other} are correlated a second time")
        seen.add(both)


def check_correlations_are_possible(study: Study) -> Iterator[Problem]:
    """Yield correlations that no variables can have at once."""
    pairs = study.uncertainty.correlations
    paths = sorted({path for pair in pairs for path in (pair.one, pair.other)})
    if not paths:
        return
    least = float(np.linalg.eigvalsh(normal_correlations(paths, pairs)).min())
    if least < _ROUNDING:
        yield Problem(
            "uncertainty.correlations",
            ", ".join(f"{pair.rank:g}" for pair in pairs),
            "cannot hold all at once: inputs that go with the same third one must go together "
            f"too (least eigenvalue of the matrix {least:.3g}, must be at least 0); lower the "
            "correlations or state the missing pairs",
        )


def _once(study: Study) -> Iterator[tuple[()]]:
    yield ()


UNCERTAINTY_RULES: Final = (((check_correlated_inputs, check_correlations_are_possible), _once),)
