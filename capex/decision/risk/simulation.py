"""The decision under uncertainty: every draw through the one path, every alternative on it.

Draws go through `appraise` in blocks and only figures are kept, so that memory does not
grow with their number. Where being late costs something, the shares of late orders are those of
the study as it stands, in every draw. `run` yields after each block: a page can drop what is no
longer wanted.

Imports numpy, `capex.errors`, `capex.study`, `capex.decision` and, of this folder, `draws`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import Lateness, appraise, held_lateness
from capex.decision.blocks import in_blocks
from capex.decision.cover import lender_view_of
from capex.decision.risk.draws import Draws, draw
from capex.study import Study

__all__ = ["Simulation", "run", "simulate"]

FloatArray = npt.NDArray[np.float64]

#: Figures kept of every draw and alternative.
_FIGURES: Final = ("gains", "payback", "worst_cash", "least_cover")


@dataclass(frozen=True)
class Simulation:
    """What every alternative comes to in every draw, n draws, a alternatives.

    Parameters
    ----------
    study : Study
        With the inputs that are held in place.
    draws : Draws
    gains : ndarray, shape (n, a) [currency]
        Net present value less the baseline's.
    payback : ndarray, shape (n, a) [years]
        Of the gain; inf where it is not paid back within the horizon.
    worst_cash : ndarray, shape (n, a) [currency]
        Least money in the bank at a month's end.
    least_cover : ndarray, shape (n, a) [-]
        Of the project years; inf where nothing is due to a lender.
    """

    study: Study
    draws: Draws
    gains: FloatArray
    payback: FloatArray
    worst_cash: FloatArray
    least_cover: FloatArray

    @property
    def keys(self) -> tuple[str, ...]:
        """Of the alternatives."""
        return tuple(self.study.alternatives)


def run(
    study: Study,
    draws: Draws,
    held: Mapping[str, float] | None = None,
    lateness: Lateness | None = None,
) -> Iterator[Simulation | float]:
    """Yield the share of the draws that is done after each block, and the simulation at the end.

    Parameters
    ----------
    study : Study
    draws : Draws
    held : mapping of str to float, optional
        Inputs at other values than the study's, canonical units; none of them is drawn.
    lateness : mapping of str to ndarray, optional
        Shares of late orders with those inputs, where they are known already.

    Raises
    ------
    InputError
        A draw outside the bounds of its input, or one that another input does not allow.
    """
    shown = study.replaced(dict(held or {}))
    late = held_lateness(shown) if lateness is None else lateness
    kept: dict[str, list[FloatArray]] = {name: [] for name in _FIGURES}

    def figures(some: slice) -> dict[str, FloatArray]:
        # the horizon is stated, so that a block has as many scenarios as draws without inputs too
        scenarios = {"money.horizon": np.full(some.stop - some.start, shown.money.horizon.likely)}
        # nothing holds on to a block: its ledgers go with it
        return _figures(shown, scenarios | draws.scenarios(some), late)

    done = 0
    for block in in_blocks(figures, draws.count):
        for name, values in block.items():
            kept[name].append(values)
        done += len(block["gains"])
        yield done / draws.count
    yield Simulation(shown, draws, *(np.concatenate(kept[name]) for name in _FIGURES))


def _figures(
    study: Study, scenarios: Mapping[str, npt.ArrayLike], late: Lateness | None
) -> dict[str, FloatArray]:
    found = appraise(study, scenarios, keep="everything", lateness=late)
    outcomes = list(found.outcomes.values())
    cover = [lender_view_of(outcome).lowest_year.ratio for outcome in outcomes]
    return {
        "gains": found.net_present_value,
        "payback": np.stack([outcome.payback_period for outcome in outcomes], axis=1),
        "worst_cash": np.stack([outcome.worst_month_end_cash for outcome in outcomes], axis=1),
        "least_cover": np.nan_to_num(np.stack(cover, axis=1), nan=np.inf),
    }


def simulate(
    study: Study,
    count: int = 4096,
    *,
    seed: int | None = None,
    held: Mapping[str, float] | None = None,
) -> Simulation:
    """Return what the alternatives of a study come to over draws of its uncertain inputs.

    Parameters
    ----------
    study : Study
    count : int
        Draws: a power of two, 32 to 1,048,576.
    seed : int, optional
        By default ``study.uncertainty.seed``.
    held : mapping of str to float, optional
        Inputs that stand at these values and are not drawn, canonical units.

    Returns
    -------
    Simulation

    Raises
    ------
    InputError
        A count or a seed outside its bounds, or a draw that the study's rules do not allow.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> found = simulate(read_study(data_folder() / "studies" / "quenlow.toml"), 64)
    >>> found.gains.shape, bool((found.gains[:, 0] == 0).all())
    ((64, 4), True)
    """
    for done in run(study, draw(study, count, seed=seed, held=held), held):
        found = done
    assert isinstance(found, Simulation)
    return found
