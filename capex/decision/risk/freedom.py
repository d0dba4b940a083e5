"""What it is worth to decide on a later purchase when more is known, not today.

Today one month of purchase, or never, must be chosen for all that may come; buying at once is one
of the choices. Whoever waits gives that one up, and chooses for what has come: E[max over what is
left] − max E over everything, and nothing where that is below 0. It is the most that waiting can
bring, as it supposes that all uncertain inputs are known by the first of the months.

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
from capex.decision.staging import DatedPurchase, dated_purchase
from capex.errors import InputError
from capex.study import Study

__all__ = ["Freedom", "freedom_in_pieces", "staging_freedom", "value_of_freedom"]

FloatArray = npt.NDArray[np.float64]


def value_of_freedom(later: FloatArray, now: FloatArray | None = None) -> Estimate:
    """Return what choosing after the facts is worth over choosing before: E[max] − max E.

    Parameters
    ----------
    later : ndarray, shape (n, options) [currency]
        Of every option that can still be chosen once all is known, in every draw.
    now : ndarray, shape (n, more), optional [currency]
        Of those that can be chosen only before.

    Returns
    -------
    Estimate
        At least 0; 0 where one option is best in every draw, or where waiting costs more than
        choosing after the facts brings [currency].

    Examples
    --------
    A factory for 1,600 sells a piece a year at 200 now, and from the next year on at 300 or at
    100, as likely, at 10 %: built now it leaves 600 on average, built in a year only where the
    price is high 773.

    >>> price = np.tile([300.0, 100.0], 16)
    >>> now, in_a_year = 200 + price / 0.1 - 1600, (price + price / 0.1 - 1600) / 1.1
    >>> round(value_of_freedom(np.stack([in_a_year, 0.0 * price], axis=1), now[:, None]).value)
    173

    Source: dixit-pindyck-1994, chapter 2 (the example).
    """
    every = later if now is None else np.concatenate([now, later], axis=1)
    found = mean(later.max(axis=1) - every[:, int(every.mean(axis=0).argmax())])
    return Estimate(max(found.value, 0.0), found.error)


@dataclass(frozen=True)
class Freedom:
    """A later purchase whose month is decided once more is known.

    Parameters
    ----------
    key, machine : str
        Of the alternative, and the name of the machine bought later.
    months : tuple of int or None
        Of all options, ascending; None, at the end, is never.
    later : tuple of int or None
        Those that can still be chosen once all is known.
    own : int or None
        The month that the study states; None where a load sets the purchase off.
    fixed : int or None
        The option that is best if chosen today.
    worth : Estimate
        Of deciding later [currency].
    shares : tuple of Estimate
        How often each option is best once all is known; options as good as each other share.
    """

    key: str
    machine: str
    months: tuple[int | None, ...]
    later: tuple[int | None, ...]
    own: int | None
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

    Today can be chosen between all of these months, the day of decision, the study's own month
    and never; later those before the first of the months are gone. A load that sets the purchase
    off in the study gives way to the months.

    Parameters
    ----------
    study : Study
    draws : Draws
    key : str
        Of the alternative.
    machine : str or int, optional
        As for `capex.decision.staging.purchase_timing`.
    months : sequence of int, optional
        That may be chosen; by default the end of every year in which the machine can be bought in
        every draw: before the shortest horizon, and no later than it goes again.
    held : mapping of str to float, optional
        Inputs at other values than the study's that are not drawn, canonical units.

    Raises
    ------
    InputError
        No such alternative or machine, or a month before 1 or in which the machine cannot be
        bought.

    Examples
    --------
    >>> from capex.decision.risk.draws import draw
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = staging_freedom(study, draw(study, 32), "staged", months=[24, 48])
    >>> found.months, found.later, found.worth.value >= 0
    ((0, 24, 36, 48, None), (24, 36, 48, None), True)
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
    bought = dated_purchase(shown, key, machine)
    options, later = _options(bought, _last_month(bought, draws), months)
    late = held_lateness(shown)
    table = np.empty((draws.count, len(options)))
    for k, month in enumerate(options):

        def values(some: slice, month: int | None = month) -> FloatArray:
            drawn = draws.scenarios(some)
            if month is None:
                of, batch = bought.without, bought.inputs_without(drawn)
            else:
                of, batch = bought.study, bought.inputs_with(drawn, float(month))
            found = appraise(of, batch, keep="cash", lateness=late).outcomes[key]
            # one for all without inputs
            return np.broadcast_to(found.net_present_value, some.stop - some.start)

        done = 0
        for block in in_blocks(values, draws.count):
            table[done : done + block.size, k] = block
            done += block.size
            yield (k + done / draws.count) / len(options)
    best = options[int(table.mean(axis=0).argmax())]
    first = len(options) - len(later)
    worth = value_of_freedom(table[:, first:], table[:, :first])
    yield Freedom(
        key, bought.machine, options, later, bought.own_month, best, worth, best_shares(table)
    )


def _last_month(bought: DatedPurchase, draws: Draws) -> tuple[int, str]:
    """Return the last month in which the machine can be bought in every draw, and why no later."""
    drawn = draws.scenarios()

    def least(path: str) -> int:
        return int(np.min(drawn.get(path, bought.study.quantity(path).si)))

    before = least("money.horizon") - 1
    gone = f"alternatives.{bought.key}.machines.{bought.place}.sold_in_month"
    sold = bought.study.alternatives[bought.key].machines[bought.place].sold_in_month is not None
    if sold and least(gone) < before:
        return least(gone), f"no later than {gone}"
    return before, "before the horizon, the shortest if it is uncertain"


def _options(
    bought: DatedPurchase, last: tuple[int, str], months: Sequence[int] | None
) -> tuple[tuple[int | None, ...], tuple[int | None, ...]]:
    """Return all options, and those that are left once all is known."""
    wanted = sorted(set(range(12, last[0] + 1, 12) if months is None else months))
    for month in wanted:
        if not 1 <= month <= last[0]:
            raise InputError("months", month, f"must be 1 to {last[0]}, {last[1]}")
    own = set() if bought.own_month is None else {bought.own_month}
    every = sorted({0, *own, *wanted})
    left = [month for month in every if wanted and month >= wanted[0]]
    return (*every, None), (*left, None)
