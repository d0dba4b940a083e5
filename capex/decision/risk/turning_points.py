"""What would have to be true for the next best choice to win: the smallest change of one input.

All inputs are looked at in the same batches: first at a few values each, then the nearest changes
of lead are narrowed together. `capex.decision.break_even_table` looks at every field of a study
by the same rules, and takes longer.

Imports numpy, `capex.errors`, `capex.study`, `capex.units`, the appraisal, its break-evens and
the range of an input.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import Appraisal, Lateness, appraise, held_lateness
from capex.decision.blocks import BLOCK
from capex.decision.break_even import BreakEven, BreakEvenReason, rounding
from capex.decision.break_even_table import closest_rival
from capex.decision.input_range import InputRange, input_range
from capex.decision.input_sweep import swept_values
from capex.decision.risk.pieces import last_of
from capex.decision.sign_changes import SignChange, sign_changes
from capex.errors import InputError
from capex.study import Study
from capex.units import KINDS

__all__ = ["turning_points", "turning_points_in_pieces"]

FloatArray = npt.NDArray[np.float64]
Wanted = tuple[InputRange, FloatArray]

_SWEPT: Final = 9  # values looked at first
_INNER: Final = np.arange(1, 16) / 16.0  # where a bracket is looked at, and then again
_ROUNDS: Final = 3  # a bracket is 4,096 times narrower after them
_JUMP: Final = 1e3  # how much steeper a bracket is than at first where the lead jumps


def turning_points(
    study: Study,
    paths: Sequence[str],
    held: Mapping[str, float] | None = None,
    *,
    most: int = 8,
) -> tuple[BreakEven, ...]:
    """Return where each input makes the best alternative and the next leave the same.

    Parameters
    ----------
    study : Study
    paths : sequence of str
        Of the inputs looked at, each alone.
    held : mapping of str to float, optional
        Inputs at other values than the study's, canonical units.
    most : int
        How many of the nearest are narrowed to a 4,096th of the first bracket; the others are
        straight between neighbours of the 9 values first looked at.

    Returns
    -------
    tuple of BreakEven
        By distance as a share of today's value; then those without a break-even.

    Raises
    ------
    InputError
        No such input, or a study of one alternative.

    Notes
    -----
    Where being late costs something, the shares of late orders are held as they are. Two changes
    between neighbours of the values first looked at go unseen.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = turning_points(study, ["machines.mid_all_in_one.price", "shop.people.wage"])
    >>> found[0].reason.name, bool(found[0].value > found[0].today)
    ('FOUND', True)
    """
    return last_of(turning_points_in_pieces(study, paths, held, most=most))


def turning_points_in_pieces(
    study: Study,
    paths: Sequence[str],
    held: Mapping[str, float] | None = None,
    *,
    most: int = 8,
) -> Iterator[float | tuple[BreakEven, ...]]:
    """Yield the share of the work that is done after each block, and the table at the end.

    Parameters
    ----------
    study, paths, held, most
        As for `turning_points`.
    """
    shown = study.replaced(dict(held or {}))
    lead = _Lead.of(shown)
    reaches = [input_range(shown, path) for path in dict.fromkeys(paths)]
    wanted = [(reach, swept_values(reach, _SWEPT)) for reach in reaches]
    found: list[BreakEven] = []
    for some in lead.batches(wanted):
        found += [lead.break_even(*each) for each in lead.looked_at(some)]
        yield 0.8 * len(found) / len(wanted)
    found.sort(key=_rank)
    first = nearest = [one for one in found[:most] if one.changes]
    for step in range(_ROUNDS):
        nearest = lead.narrowed(nearest)
        yield 0.8 + 0.2 * (step + 1) / _ROUNDS
    nearest = [_with_jumps(*each) for each in zip(nearest, first, strict=True)]
    yield tuple(sorted([*nearest, *found[len(nearest) :]], key=_rank))


@dataclass(frozen=True)
class _Lead:
    """By how much the best alternative leaves more than the next, over values of inputs."""

    study: Study
    here: Appraisal
    late: Lateness | None
    pair: tuple[str, str]
    today: float
    stated: frozenset[str]

    @classmethod
    def of(cls, study: Study) -> _Lead:
        late = held_lateness(study)
        here = appraise(study, keep="everything", lateness=late)
        pair = closest_rival(here)
        one, other = (here.outcomes[key].net_present_value for key in pair)
        stated = frozenset(path for path, _ in study.quantities())
        return cls(study, here, late, pair, float((one - other)[0]), stated)

    def batches(self, wanted: Sequence[Wanted]) -> Iterator[list[Wanted]]:
        """Yield inputs that go the path together: not more than a block, none of them twice.

        One that the study leaves out goes alone: stating it, at whatever value, is a change.
        """
        some: list[Wanted] = []
        for reach, values in wanted:
            size = values.size + sum(known.size for _, known in some)
            paths = {known.path for known, _ in some}
            alone = not self.states({reach.path, *paths})
            if some and (size > BLOCK or reach.path in paths or alone):
                yield some
                some = []
            some.append((reach, values))
        if some:
            yield some

    def states(self, paths: Collection[str]) -> bool:
        """Whether the study states all of some inputs."""
        return self.stated.issuperset(paths)

    def looked_at(
        self, wanted: Sequence[Wanted]
    ) -> list[tuple[InputRange, FloatArray, FloatArray]]:
        """Return ranges, values and leads; where a value is refused, today's alone."""
        try:
            return self._in_one_batch(wanted)
        except InputError:
            if len(wanted) == 1:
                reach, today = wanted[0][0], wanted[0][0].quantity.likely
                return [(replace(reach, low=today, high=today), np.array([today]),
                         np.array([self.today]))]  # fmt: skip
            half = len(wanted) // 2
            return [*self.looked_at(wanted[:half]), *self.looked_at(wanted[half:])]

    def _in_one_batch(
        self, wanted: Sequence[Wanted]
    ) -> list[tuple[InputRange, FloatArray, FloatArray]]:
        sizes = [values.size for _, values in wanted]
        ends = np.cumsum(sizes)
        scenarios: dict[str, npt.ArrayLike] = {}
        for (reach, values), end in zip(wanted, ends.tolist(), strict=True):
            column = np.full(int(ends[-1]), reach.quantity.likely)
            column[end - values.size : end] = values
            scenarios[reach.path] = column
        found = appraise(self.study, scenarios, keep="cash", like=self.here, lateness=self.late)
        one, other = (found.outcomes[key].net_present_value for key in self.pair)
        leads = np.split(np.broadcast_to(one - other, (int(ends[-1]),)), ends[:-1])
        return [(*each, part) for each, part in zip(wanted, leads, strict=True)]

    def break_even(self, reach: InputRange, values: FloatArray, leads: FloatArray) -> BreakEven:
        """Return where an input makes both leave the same, straight between its values."""
        zero = rounding(self.here)
        table, width = leads[:, None], max(reach.high - reach.low, 1e-300)
        changes = sign_changes(lambda _: table, values, table, within=2.0 * width, zero=zero)
        if changes:
            reason = BreakEvenReason.FOUND
        elif values.size == 1:
            reason = BreakEvenReason.HELD
        elif np.ptp(leads) <= zero:
            reason = BreakEvenReason.NO_EFFECT
        else:  # no change of sign, so that the sign of one lead is that of all
            always = bool((leads > zero).any())
            reason = BreakEvenReason.ALWAYS if always else BreakEvenReason.NEVER
        unit = KINDS[reach.quantity.entry.kind].unit.replace("money", self.study.currency)
        today = reach.quantity.likely if self.states({reach.path}) else None
        return BreakEven(
            *self.pair, reach, unit, today, self.today, changes,
            (False,) * len(changes), reason,
        )  # fmt: skip

    def narrowed(self, found: Sequence[BreakEven]) -> list[BreakEven]:
        """Return break-evens with every bracket a sixteenth as wide, all in the same batches."""
        wanted, brackets = [], []
        for one in found:
            for change in one.changes:
                inner = change.low + _INNER * (change.high - change.low)
                inner = np.unique(np.round(inner)) if one.reach.quantity.entry.whole else inner
                inner = inner[(inner > change.low) & (inner < change.high)]
                brackets.append((one, change, inner))
        leads: list[FloatArray] = []
        for one, _, inner in brackets:
            wanted.append((one.reach, inner))
        for some in self.batches(wanted):
            leads += [part for _, _, part in self._in_one_batch(some)]
        narrow: dict[str, list[SignChange]] = {one.path: [] for one in found}
        for (one, change, inner), part in zip(brackets, leads, strict=True):
            narrow[one.path].append(_within(change, inner, part))
        return [replace(one, changes=tuple(narrow[one.path])) for one in found]


def _within(change: SignChange, inner: FloatArray, leads: FloatArray) -> SignChange:
    """Return the part of a bracket up to the first point that has the sign of its upper end."""
    points = [change.low, *inner.tolist(), change.high]
    values = [change.before, *leads.tolist(), change.after]
    place = int((np.sign(values) == np.sign(change.after)).argmax())
    return replace(change, low=points[place - 1], high=points[place],
                   before=values[place - 1], after=values[place])  # fmt: skip


def _with_jumps(found: BreakEven, first: BreakEven) -> BreakEven:
    """Return a break-even with the changes marked at which the lead passes zero in a jump."""
    jumps = tuple(
        found.reach.quantity.entry.whole
        or now.step * (before.high - before.low) > _JUMP * before.step * (now.high - now.low)
        for now, before in zip(found.changes, first.changes, strict=True)
    )
    return replace(found, jumps=jumps)


def _rank(found: BreakEven) -> tuple[bool, bool, float]:
    """Return what puts the shortest distance first."""
    idle = found.reason in {BreakEvenReason.NO_EFFECT, BreakEvenReason.HELD}
    distance = np.inf if found.distance is None else abs(found.distance)
    return idle, found.reason is not BreakEvenReason.FOUND, distance
