"""The parts that are worked out on demand: two inputs at once, what would turn it, waiting, shares.

May import: ipywidgets, and from capex study, decision and views.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from html import escape
from typing import Final

import ipywidgets as widgets
import numpy as np
import numpy.typing as npt

from capex.decision.break_even import BreakEven, BreakEvenReason
from capex.decision.risk.chances import Estimate
from capex.decision.risk.crossover_range import CrossoverRange, crossover_in_pieces
from capex.decision.risk.distributions import uncertain_inputs
from capex.decision.risk.draws import draw
from capex.decision.risk.freedom import Freedom, freedom_in_pieces
from capex.decision.risk.importance import Importance, gains_model, importance_in_pieces
from capex.decision.risk.spider import Spider, spider_in_pieces
from capex.decision.risk.turning_points import turning_points_in_pieces
from capex.decision.risk.two_way import Flip, TwoWayMap, map_in_pieces, nearest_flip
from capex.study import Study
from capex.units import UnitSystem
from capex.views.break_even import input_rows, table_sentences
from capex.views.chart import Chart, ChartTable
from capex.views.explore.map_picture import map_picture
from capex.views.explore.on_demand import OnDemand
from capex.views.explore.pictures import shares_picture
from capex.views.explore.spider_picture import PERCENTILES, spider_picture
from capex.views.explore.state import ExploreState
from capex.views.explore.words import chance_text, input_title, input_value
from capex.views.floor.boxes import table_html, words
from capex.views.floor.fields import Field
from capex.views.inputs import dials
from capex.views.wording import input_name

__all__ = ["Deeper"]

FloatArray = npt.NDArray[np.float64]

Turning = tuple[tuple[BreakEven, ...], TwoWayMap | None, Flip | None]

_SIDE: Final = 31  # points a side of the map
_DRAWS: Final = 256  # where every draw takes a path at many months
_CROSSINGS: Final = 128  # where it takes one at some eight volumes
_SAMPLE: Final = 128  # rows of the first sample for variance shares
_ROWS: Final = 8


class Deeper:
    """The parts of the page below the draws, each with its button.

    Parameters
    ----------
    state : ExploreState
    """

    def __init__(self, state: ExploreState) -> None:
        self._state = state
        self._map = Chart("Which choice leaves most over the two?", 380)
        self._spider = Chart("What if one input turns out otherwise?", 420)
        self._shares = Chart("Which inputs bring the spread?", 420)
        self._turns, self._range, self._freedom = (words(name="capex-whole") for _ in range(3))
        self._paths = self._first_paths()
        self.alone = self._alone()
        self.two_way, self.turning = self._two_way(), self._turning()
        self.crossing, self.variance = self._crossing(), self._variance()
        self._later_key = _bought_later(state.study)
        self.waiting = self._waiting() if self._later_key is not None else None

    def views(self) -> list[widgets.Widget]:
        """Return the parts in their order."""
        waiting = [self.waiting.view()] if self.waiting is not None else []
        return [
            self.alone.view(), self.two_way.view(), self.turning.view(), self.crossing.view(),
            *waiting, self.variance.view(),
        ]  # fmt: skip

    def _pair(self) -> tuple[int, int]:
        """Return the places of the choice that leaves most and of the next."""
        result = self._state.result
        keys, ranking = list(result.appraisal.outcomes), result.verdict.ranking
        return keys.index(ranking[0]), keys.index(ranking[min(1, len(ranking) - 1)])

    def _names(self) -> tuple[str, str]:
        one, other = self._pair()
        names = [choice.name for choice in self._state.study.alternatives.values()]
        return names[one], names[other]

    def _first_paths(self) -> dict[str, str]:
        return {"across": "levers.demand", "up": "levers.laminated_share"}

    def _alone(self) -> OnDemand[tuple[Spider, tuple[int, int]]]:
        study = self._state.study

        def asked() -> Callable[[], Iterator[float | tuple[Spider, tuple[int, int]]]]:
            result, pair = self._state.result, self._pair()
            held, late = dict(result.scenario), result.appraisal.lateness

            def work() -> Iterator[float | tuple[Spider, tuple[int, int]]]:
                for piece in spider_in_pieces(study, PERCENTILES, held, late):
                    yield piece if isinstance(piece, float) else (piece, pair)

            return work

        return OnDemand(
            self._state, "One input at a time",
            "Each uncertain input alone, from its 10th to its 90th percentile, the others as they "
            "are set: what the best choice leaves more than the next.",
            asked, lambda found: self._spider.show(*spider_picture(*found, self._state.look)),
            [self._spider],
        )  # fmt: skip

    def _two_way(self) -> OnDemand[tuple[TwoWayMap, int]]:
        study = self._state.study
        known = {dial.path: dial.label for dial in dials(study)}
        known |= {one.path: input_title(study, one.path)
                  for one in uncertain_inputs(study) if one.path not in known}  # fmt: skip
        options = list(known.items())
        ranges = _dial_ranges(study)

        homes = {dial.path: dial.home for dial in dials(study)}

        def asked() -> Callable[[], Iterator[float | tuple[TwoWayMap, int]]]:
            held, now = {**homes, **self._state.result.scenario}, self._pair()[0]
            across, up = self._paths["across"], self._paths["up"]
            fixed = {p: v for p, v in held.items()
                     if p in self._state.result.scenario or p in (across, up)}  # fmt: skip

            def work() -> Iterator[float | tuple[TwoWayMap, int]]:
                for piece in map_in_pieces(study, across, up, fixed, size=_SIDE, ranges=ranges):
                    yield piece if isinstance(piece, float) else (piece, now)

            return work

        return OnDemand(
            self._state, "Two inputs at once",
            "Every other input stays where it is set. It marks where another choice leaves most, "
            "and where the gain over the baseline is gone.",
            asked, lambda found: self._map.show(*map_picture(*found, self._state.look)),
            [self._map],
            fields=[Field("across", "Along", "choice", options=options),
                    Field("up", "Up", "choice", options=options)],
            values=self._paths,
        )  # fmt: skip

    def _turning(self) -> OnDemand[Turning]:
        study = self._state.study
        known = {path for path, _ in study.quantities()}
        wanted = [each.path for each in uncertain_inputs(study)]
        wanted += [path for path in _moved(study, self._state) if path in known]

        def asked() -> Callable[[], Iterator[float | Turning]]:
            held, pair = dict(self._state.result.scenario), self._pair()
            nearby = self._state.nearby

            def work() -> Iterator[float | Turning]:
                for piece in turning_points_in_pieces(study, wanted, held, most=_ROWS):
                    if isinstance(piece, float):
                        yield 0.6 * piece
                    else:
                        table = piece
                lines = nearby.spider.swings(*pair)[:2] if nearby is not None else ()
                if len(lines) < 2:
                    yield table, None, None
                    return
                across, up = (line.input.path for line, _ in lines)
                for step in map_in_pieces(study, across, up, held, size=21):
                    if isinstance(step, float):
                        yield 0.6 + 0.3 * step
                    else:
                        yield table, step, nearest_flip(study, step, held)

            return work

        return OnDemand(
            self._state, "What would have to be true?",
            "Every uncertain input, every control and every price of a machine alone, until the "
            "next best choice is level; then the two that matter most together.",
            asked, self._show_turning, [self._turns],
        )  # fmt: skip

    def _show_turning(self, found: Turning) -> None:
        table, looked, flip = found
        state = self._state
        study = state.study
        said = table_sentences(study, table, state.currency)
        if looked is not None:
            said.append(_flip_sentence(study, looked, flip, state))
        rows = _turning_rows(study, table, state.units)
        html = "".join(f"<p>{escape(sentence)}</p>" for sentence in said)
        even = ChartTable(["Input", "Level at", "As it is set", "Change"], rows)
        self._turns.value = html + table_html(even, "Smallest change of one input, nearest first")

    def _crossing(self) -> OnDemand[tuple[CrossoverRange, tuple[str, str]]]:
        study = self._state.study

        def asked() -> Callable[[], Iterator[float | tuple[CrossoverRange, tuple[str, str]]]]:
            held, pair, names = dict(self._state.result.scenario), self._pair(), self._names()
            held.pop("levers.demand", None)

            def work() -> Iterator[float | tuple[CrossoverRange, tuple[str, str]]]:
                drawn = draw(study, _CROSSINGS, held=held)
                for piece in crossover_in_pieces(study, drawn, *pair, held):
                    yield piece if isinstance(piece, float) else (piece, names)

            return work

        return OnDemand(
            self._state, "How sure is the crossover volume?",
            f"The volume at which the two best change places, in each of {_CROSSINGS} draws of the "
            "other inputs.",
            asked, self._show_crossing, [self._range],
        )  # fmt: skip

    def _show_crossing(self, shown: tuple[CrossoverRange, tuple[str, str]]) -> None:
        found, names = shown
        low, high = found.searched
        said = (
            f"Chance that {names[0]} and {names[1]} change places between {low:.0%} and "
            f"{high:.0%} of today's orders: {chance_text(found.crosses)}."
        )
        if found.middle is not None:
            first, middle, last = (_volume_text(value) for value in found.middle)
            said += (
                f" Where they do: at {middle} in the middle; nine draws of ten lie between {first} "
                f"and {last}."
            )
        seed = self._state.study.uncertainty.seed
        said += f" {found.volumes.size} draws, seed {seed}; ± is the simulation error."
        self._range.value = f"<p>{escape(said)}</p>"

    def _waiting(self) -> OnDemand[Freedom]:
        study = self._state.study

        def asked() -> Callable[[], Iterator[float | Freedom]]:
            held, key = dict(self._state.result.scenario), str(self._later_key)
            return lambda: freedom_in_pieces(study, draw(study, _DRAWS, held=held), key, held=held)

        return OnDemand(
            self._state, "What is it worth to decide later?",
            "Whether and when to buy the second machine, decided each year instead of today. All "
            "is supposed to be known by the first of those years: it is the most that waiting "
            "brings.",
            asked, self._show_waiting, [self._freedom],
        )  # fmt: skip

    def _show_waiting(self, found: Freedom) -> None:
        look = self._state.look
        months = ["never" if month is None else f"after year {month / 12:.3g}"
                  for month in found.months]  # fmt: skip
        fixed = months[found.months.index(found.fixed)]
        worth = (
            f"at most {look.money(found.worth.value)} ± {look.money(found.worth.error)}"
            if found.worth.value > 0.0
            else "nothing here: no draw says otherwise than what is best today"
        )
        said = (
            f"Deciding later on {found.machine} is worth {worth}. If it had to be decided today: "
            f"{fixed}. {_DRAWS} draws, seed {look.study.uncertainty.seed}."
        )
        rows = [
            [month, chance_text(share)] for month, share in zip(months, found.shares, strict=True)
        ]
        table = ChartTable(["Buy it", f"Best in this share of {_DRAWS} draws"], rows)
        self._freedom.value = f"<p>{escape(said)}</p>" + table_html(table, "When it is best")

    def _variance(self) -> OnDemand[tuple[Importance, tuple[str, str]]]:
        study = self._state.study

        def asked() -> Callable[[], Iterator[float | tuple[Importance, tuple[str, str]]]]:
            held, (one, other) = dict(self._state.result.scenario), self._pair()
            inputs = [each for each in uncertain_inputs(study) if each.path not in held]
            gains, names = gains_model(study, inputs, held), self._names()

            def lead(values: FloatArray) -> FloatArray:
                found = gains(values)
                return found[:, [one]] - found[:, [other]]

            def work() -> Iterator[float | tuple[Importance, tuple[str, str]]]:
                for piece in importance_in_pieces(lead, inputs, _SAMPLE):
                    yield piece if isinstance(piece, float) else (piece, names)

            return work

        def show(found: tuple[Importance, tuple[str, str]]) -> None:
            self._shares.show(*shares_picture(found[0], study, found[1]))

        return OnDemand(
            self._state, "Shares of the variance",
            "How much of the spread of the lead each input brings, alone and together with others "
            "(Sobol indices).",
            asked, show, [self._shares],
        )  # fmt: skip


def _turning_rows(
    study: Study, table: tuple[BreakEven, ...], system: UnitSystem
) -> list[list[str]]:
    """Return a row an input that makes both level, the nearest first, narrow enough for a phone."""
    even = [one for one in table if one.reason is BreakEvenReason.FOUND][:_ROWS]
    rows = []
    for one, known in zip(even, input_rows(study, even, _ROWS, system), strict=True):
        name = known[0].partition("\n")[0]
        values = "; ".join(
            input_value(study, one.path, value, system) + (" (a jump)" if jump else "")
            for value, jump in zip(one.values, one.jumps, strict=True)
        )
        now = input_value(study, one.path, one.reach.quantity.likely, system)
        rows.append([name[:1].upper() + name[1:], values, now, known[-1]])
    return rows


def _volume_text(found: Estimate) -> str:
    """Return a share of today's orders with its simulation error."""
    return f"{found.value:.0%} ± {100.0 * found.error:.0f} points"


def _dial_ranges(study: Study) -> dict[str, tuple[float, float]]:
    """Return the ends of the inputs that the study gives no low and high value."""
    return {
        dial.path: (dial.bounds[0] / dial.scale, dial.bounds[1] / dial.scale)
        for dial in dials(study)
        if dial.spread is None
    }


def _moved(study: Study, state: ExploreState) -> list[str]:
    """Return the inputs that a control moves, and the prices of the machines on offer."""
    return [*(dial.path for dial in dials(study)), *(offer.key for offer in state.offers)]


def _bought_later(study: Study) -> str | None:
    """Return the first alternative that buys a machine after the day of decision."""
    return next(
        (
            key
            for key, choice in study.alternatives.items()
            if any(not p.owned and p.month.likely > 0 for p in choice.machines)
        ),
        None,
    )


def _flip_sentence(study: Study, looked: TwoWayMap, flip: Flip | None, state: ExploreState) -> str:
    names = [input_name(study, path) for path in looked.paths]
    if flip is None:
        return (
            f"Between their low and high values {names[0]} and {names[1]}, the two that matter "
            "most, turn nothing even together."
        )
    ends = [
        f"{name} from {input_value(study, path, here, state.units)} to "
        f"{input_value(study, path, value, state.units)}"
        for name, path, here, value in zip(
            names, looked.paths, looked.likely, flip.values, strict=True
        )
    ]
    to = study.alternatives[looked.keys[flip.to]].name
    return f"Together it takes {ends[0]} and {ends[1]}: then {to} leaves most."
