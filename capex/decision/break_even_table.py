"""What a decision hangs on: the break-even of every input, the nearest first.

Imports numpy, `capex.study`, `capex.shopfloor.year.lateness` and, of this folder, the appraisal,
the range and the sweep of an input, and its break-even.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from capex.decision.appraise import Appraisal, appraise
from capex.decision.break_even import (
    BreakEven,
    BreakEvenReason,
    Pair,
    narrowed_break_evens,
    rounding,
)
from capex.decision.input_range import InputRange, input_range
from capex.decision.input_sweep import (
    InputSweep,
    appraised_range,
    input_sweeps,
    swept_values,
)
from capex.errors import InputError
from capex.shopfloor.year.lateness import being_late_costs
from capex.study import Study

__all__ = ["break_even_table", "closest_rival"]

_SWEPT: Final = 9  # values looked at first
_WITHIN: Final = 1e-6  # width of an answer's bracket, as a share of the range


def break_even_table(
    study: Study,
    alternative: str | None = None,
    against: str | None = None,
    scenario: Mapping[str, float] | None = None,
) -> tuple[BreakEven, ...]:
    """Return the break-even of every input of a study, those nearest to today's value first.

    An input that makes no difference at either end of its range is looked at no further; of the
    others, two changes between neighbours of the 9 values first looked at go unseen. An input
    that would bring a cost of being late, where the study has none, is left out: it would set off
    a simulation. Where the study has one, every value of every input is simulated, which takes
    minutes.

    Parameters
    ----------
    study : Study
    alternative : str, optional
        Key; by default the one that leaves most.
    against : str, optional
        Key of the one compared with; by default that of the others which leaves most.
    scenario : mapping of str to float, optional
        Inputs that differ from the study, canonical units.

    Returns
    -------
    tuple of BreakEven
        By distance as a share of today's value; then those whose value today is 0, those without
        a break-even in their range, and those that make no difference or cannot be moved.

    Raises
    ------
    InputError
        Unknown alternative, one compared with itself, or a value outside its bounds.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> nearest = break_even_table(study, "all_in_one", "separate")[0]
    >>> nearest.reason.name, bool(abs(nearest.distance) < 0.1)
    ('FOUND', True)
    """
    shown = study.replaced(dict(scenario or {}))
    here = appraise(shown, keep="everything")
    pair = closest_rival(here, alternative, against)
    reaches = [input_range(shown, path) for path, _ in shown.quantities()]
    reaches = [reach for reach in reaches if not _brings_simulation(shown, reach)]
    ends = _ends(shown, here, reaches)
    found = [
        narrowed_break_evens(shown, here, reach, sweep, [pair], _WITHIN)[0]
        for reach, sweep in _all_swept(shown, here, pair, ends)
    ]
    return tuple(sorted(found, key=_rank))


def closest_rival(
    here: Appraisal, alternative: str | None = None, against: str | None = None
) -> Pair:
    """Return an alternative, the best where none is named, and its closest rival likewise.

    Parameters
    ----------
    here : Appraisal
        Its first scenario counts.
    alternative, against : str, optional
        Keys.

    Returns
    -------
    (str, str)

    Raises
    ------
    InputError
        Unknown key, both the same, or no other alternative in the study.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> here = appraise(read_study(data_folder() / "studies" / "quenlow.toml"))
    >>> closest_rival(here, "keep")[1] == closest_rival(here)[0]
    True
    """
    ranked = [list(here.outcomes)[place] for place in np.argsort(-here.net_present_value[0])]
    for key in (alternative, against):
        if key is not None:
            here.study.alternative(key)
    one = alternative or next(key for key in ranked if key != against)
    other = against or next((key for key in ranked if key != one), one)
    if one == other:
        raise InputError("against", other, "must be another alternative of the study")
    return one, other


def _rank(found: BreakEven) -> tuple[bool, bool, float]:
    """Return what puts the shortest distance first."""
    idle = found.reason in {BreakEvenReason.NO_EFFECT, BreakEvenReason.HELD}
    distance = np.inf if found.distance is None else abs(found.distance)
    return idle, found.reason is not BreakEvenReason.FOUND, distance


def _brings_simulation(study: Study, reach: InputRange) -> bool:
    moved = study.replaced({reach.path: [reach.low, reach.high]})
    return being_late_costs(moved) and not being_late_costs(study)


def _ends(
    study: Study, here: Appraisal, reaches: Sequence[InputRange]
) -> list[tuple[InputRange, InputSweep]]:
    """Return what the ends of each range come to, pulled in where a value is refused."""
    found = []
    wanted = [(reach.path, np.unique([reach.low, reach.high])) for reach in reaches]
    for reach, sweep in zip(reaches, input_sweeps(study, here, wanted), strict=True):
        if sweep is not None:
            found.append((reach, sweep))
            continue
        nearer = appraised_range(study, here, reach)
        (ends,) = input_sweeps(study, here, [(reach.path, np.unique([nearer.low, nearer.high]))])
        found.append((nearer, ends) if ends is not None else _held(study, here, reach))
    return found


def _held(study: Study, here: Appraisal, reach: InputRange) -> tuple[InputRange, InputSweep]:
    """Return the range of an input that stays where it is, and what it comes to there."""
    today = reach.quantity.likely
    (sweep,) = input_sweeps(study, here, [(reach.path, np.array([today]))])
    assert sweep is not None  # the study as it stands
    return replace(reach, low=today, high=today), sweep


def _all_swept(
    study: Study, here: Appraisal, pair: Pair, ends: Sequence[tuple[InputRange, InputSweep]]
) -> Iterator[tuple[InputRange, InputSweep]]:
    """Yield the ranges with values between the ends too, where the ends make a difference."""
    one, other = (list(here.outcomes).index(key) for key in pair)
    today, zero = here.net_present_value[0, one] - here.net_present_value[0, other], rounding(here)
    wanted = []
    for reach, sweep in ends:
        moved = np.abs(sweep.gains[:, one] - sweep.gains[:, other] - today).max() > zero
        inner = swept_values(reach, _SWEPT)[1:-1] if moved else np.empty(0)
        wanted.append((reach.path, inner))
    swept = iter(input_sweeps(study, here, [each for each in wanted if each[1].size]))
    for (reach, sweep), (_, inner) in zip(ends, wanted, strict=True):
        more = next(swept) if inner.size else sweep
        if more is None:
            yield _held(study, here, reach)
        else:
            yield reach, sweep.with_more(more) if inner.size else sweep
