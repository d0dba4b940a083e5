"""What would have to be true: the smallest change of one input, and of the two that matter most.

Texts that come from a user are escaped here. May import: the standard library, and from capex
errors, study, units, decision, `views.break_even`, `views.chart`, `views.charts.picture`,
`views.explore.words`, `views.floor.boxes` and `views.wording`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from html import escape
from typing import Final

from capex.decision.break_even import BreakEven, BreakEvenReason
from capex.decision.risk.nearest_flip import Flip, nearest_flip
from capex.decision.risk.spider import Spider
from capex.decision.risk.two_way import TwoWayMap, map_in_pieces
from capex.errors import InputError
from capex.study import Study
from capex.units import UnitSystem
from capex.views.break_even import input_rows, table_sentences
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look
from capex.views.explore.words import input_value
from capex.views.floor.boxes import table_html
from capex.views.wording import input_name

__all__ = ["Together", "together_in_pieces", "turning_html"]

_SIDE: Final = 21  # points a side of the map of the two
_STAYS: Final = 0.005  # of the way to the end of its range: an input that need not change


@dataclass(frozen=True)
class Together:
    """The smallest change of the two inputs that matter most, or why there is none.

    Parameters
    ----------
    looked : TwoWayMap or None
    flip : Flip or None
    reason : str
        Why they were not looked at.
    """

    looked: TwoWayMap | None = None
    flip: Flip | None = None
    reason: str = ""


def together_in_pieces(
    study: Study, web: Spider, pair: tuple[int, int], held: Mapping[str, float]
) -> Iterator[float | Together]:
    """Yield the share of the work that is done, and what two inputs together take at the end.

    Parameters
    ----------
    study : Study
    web : Spider
        Tells which two inputs matter most.
    pair : tuple of two int
        Places of the choice that leaves most and of the next.
    held : mapping of str to float
        Inputs at other values than the study's, canonical units.
    """
    lines = web.swings(*pair)[:2]
    if len(lines) < 2:
        yield Together(reason="fewer than two inputs have a low and a high value")
        return
    across, up = (line.input.path for line, _ in lines)
    try:
        for step in map_in_pieces(study, across, up, held, size=_SIDE):
            if isinstance(step, float):
                yield step
            else:
                yield Together(step, nearest_flip(study, step, held))
    except InputError as error:  # two values that the study does not allow together
        yield Together(reason=str(error))


def turning_html(table: tuple[BreakEven, ...], together: Together, look: Look, most: int) -> str:
    """Return the sentences and the table.

    Parameters
    ----------
    table : tuple of BreakEven
    together : Together
    look : Look
    most : int
        Rows of the table.
    """
    said = table_sentences(look.study, table, look.currency)
    said.append(_flip_sentence(together, look))
    html = "".join(f"<p>{escape(sentence)}</p>" for sentence in said)
    rows = _turning_rows(look.study, table, look.units, most)
    even = ChartTable(["Input", "Level at", "As it is set", "Change"], rows)
    return html + table_html(even, "Smallest change of one input, nearest first")


def _turning_rows(
    study: Study, table: tuple[BreakEven, ...], system: UnitSystem, most: int
) -> list[list[str]]:
    """Return a row an input that makes both level, the nearest first, narrow enough for a phone."""
    even = [one for one in table if one.reason is BreakEvenReason.FOUND][:most]
    rows = []
    for one, known in zip(even, input_rows(study, even, most, system), strict=True):
        name = known[0].partition("\n")[0]
        values = "; ".join(
            input_value(study, one.path, value, system) + (" (a jump)" if jump else "")
            for value, jump in zip(one.values, one.jumps, strict=True)
        )
        now = input_value(study, one.path, one.reach.quantity.likely, system)
        rows.append([name[:1].upper() + name[1:], values, now, known[-1]])
    return rows


def _flip_sentence(together: Together, look: Look) -> str:
    study, looked, flip = look.study, together.looked, together.flip
    if looked is None:
        return f"Two inputs together were not looked at: {together.reason}."
    names = [input_name(study, path) for path in looked.paths]
    if flip is None:
        return (
            f"Between their low and high values {names[0]} and {names[1]}, the two that matter "
            "most, turn nothing even together."
        )
    here, there = (
        [input_value(study, path, value, look.units)
         for path, value in zip(looked.paths, values, strict=True)]
        for values in (looked.likely, flip.values)
    )  # fmt: skip
    ends = [
        f"{names[k]} as it is set, {here[k]},"
        if abs(flip.changes[k]) < _STAYS
        else f"{names[k]} from {here[k]} to about {there[k]}"
        for k in (0, 1)
    ]
    to = study.alternatives[looked.keys[flip.to]].name
    return f"Together it takes {ends[0]} and {ends[1].rstrip(',')}: then {to} leaves most."
