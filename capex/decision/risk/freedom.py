"""What it is worth to decide on a later purchase when more is known, not today.

Today one month of purchase, or never, must be chosen for all that may come. Whoever waits
chooses for what has come: E[max] − max E over the months. It is the most that waiting can bring,
as it supposes that all uncertain inputs are known by the first of the months.

Imports numpy, `capex.errors`, `capex.study`, `appraise`, `blocks`, `staging` and, of this folder,
`chances`, `draws` and `pieces`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import appraise, held_lateness
from capex.decision.blocks import in_blocks
from capex.decision.risk.chances import Estimate, best_shares, mean
from capex.decision.risk.draws import Draws
from capex.decision.risk.pieces import last_of
from capex.decision.staging import dated_purchase
from capex.errors import InputError
from capex.study import Study

__all__ = ["Freedom", "freedom_in_pieces", "staging_freedom", "value_of_freedom"]

FloatArray = npt.NDArray[np.float64]


def value_of_freedom(worths: FloatArray) -> Estimate:
    """Return what choosing after the facts is worth over choosing before: E[max] − max E.

    Parameters
    ----------
    worths : ndarray, shape (n, options) [currency]
        Of every option in every draw.

    Returns
    -------
    Estimate
        At least 0; 0 where one option is best in every draw [currency].

    Examples
    --------
    A factory for 1,600, built next year, sells a piece a year at 300 or at 100, as likely, at 10 %:
    545 on average if it is built whatever comes, 773 if only where the price is high.

    >>> built = [(-1600 + price / 0.1 + price) / 1.1 for price in (300.0, 100.0)]
    >>> worths = np.tile(np.stack([built, [0.0, 0.0]], axis=1), (16, 1))
    >>> round(value_of_freedom(worths).value)
    227

    Source: dixit-pindyck-1994, chapter 2 (the example).
    """
    fixed = int(worths.mean(axis=0).argmax())
    return mean(worths.max(axis=1) - worths[:, fixed])


@dataclass(frozen=True)
class Freedom:
    """A later purchase whose month is decided once more is known.

    Parameters
    ----------
    key, machine : str
        Of the alternative, and the name of the machine bought later.
    months : tuple of int or None
        That may be chosen; None is never.
    fixed : int or None
        The month that is best if chosen today.
    worth : Estimate
        Of deciding later [currency].
    shares : tuple of Estimate
        How often each option is best once all is known; options as good as each other share.
    """

    key: str
    machine: str
    months: tuple[int | None, ...]
    fixed: int | None
    worth: Estimate
    shares: tuple[Estimate, ...]


def staging_freedom(
    study: Study,
    draws: Draws,
    key: str,
    machine: str | int | None = None,
    *,
    months: Sequence[int] | None = None,
    held: Mapping[str, float] | None = None,
) -> Freedom:
    """Return what it is worth to decide each year whether to buy an alternative's later machine.

    Parameters
    ----------
    study : Study
    draws : Draws
    key : str
        Of the alternative.
    machine : str or int, optional
        As for `capex.decision.staging.purchase_timing`.
    months : sequence of int, optional
        That may be chosen; by default the end of every year before the horizon.
    held : mapping of str to float, optional
        Inputs at other values than the study's that are not drawn, canonical units.

    Raises
    ------
    InputError
        No such alternative or machine, or a month before 1 or after the horizon.

    Examples
    --------
    >>> from capex.decision.risk.draws import draw
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = staging_freedom(study, draw(study, 32), "staged", months=[24, 48])
    >>> found.months, found.worth.value >= 0
    ((24, 48, None), True)
    """
    return last_of(freedom_in_pieces(study, draws, key, machine, months=months, held=held))


def freedom_in_pieces(
    study: Study,
    draws: Draws,
    key: str,
    machine: str | int | None = None,
    *,
    months: Sequence[int] | None = None,
    held: Mapping[str, float] | None = None,
) -> Iterator[float | Freedom]:
    """Yield the share of the work that is done after each block, and what it comes to at the end.

    Parameters
    ----------
    study, draws, key, machine, months, held
        As for `staging_freedom`.
    """
    shown = study.replaced(dict(held or {}))
    horizon = int(shown.money.horizon.likely)
    wanted = list(range(12, horizon, 12)) if months is None else sorted(set(months))
    for month in wanted:
        if not 1 <= month < horizon:
            raise InputError("months", month, f"must be 1 to {horizon - 1}, before the horizon")
    bought, never = dated_purchase(shown, key, machine, horizon)
    late = held_lateness(shown)
    options = (*wanted, None)
    table = np.empty((draws.count, len(options)))
    for k, option in enumerate(options):
        of, more = (never, {}) if option is None else (bought.study, {bought.path: float(option)})

        def values(some: slice, of: Study = of, more: Mapping[str, float] = more) -> FloatArray:
            batch: dict[str, npt.ArrayLike] = {**draws.scenarios(some), **more}
            found = appraise(of, batch, keep="cash", lateness=late).outcomes[key]
            # one for all without inputs
            return np.broadcast_to(found.net_present_value, some.stop - some.start)

        done = 0
        for block in in_blocks(values, draws.count):
            table[done : done + block.size, k] = block
            done += block.size
            yield (k + done / draws.count) / len(options)
    best = options[int(table.mean(axis=0).argmax())]
    worth = value_of_freedom(table)
    yield Freedom(key, bought.machine, options, best, worth, best_shares(table))
