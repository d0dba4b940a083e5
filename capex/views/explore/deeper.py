"""The parts that are worked out on demand: two inputs at once, what would turn it, waiting, shares.

May import: ipywidgets, and from capex study, decision and views.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Final

import ipywidgets as widgets
import numpy as np
import numpy.typing as npt

from capex.decision.break_even import BreakEven
from capex.decision.risk.crossover_range import CrossoverRange, crossover_in_pieces
from capex.decision.risk.distributions import uncertain_inputs
from capex.decision.risk.draws import draw
from capex.decision.risk.freedom import Freedom, freedom_in_pieces
from capex.decision.risk.importance import Importance, gains_model, importance_in_pieces
from capex.decision.risk.spider import Spider, spider, spider_in_pieces
from capex.decision.risk.turning_points import turning_points_in_pieces
from capex.decision.risk.two_way import TwoWayMap, map_in_pieces
from capex.study import Study
from capex.views.chart import Chart
from capex.views.explore.crossing import crossing_html
from capex.views.explore.later_purchase import LaterPurchase, bought_later, waiting_html
from capex.views.explore.map_picture import map_picture
from capex.views.explore.on_demand import OnDemand
from capex.views.explore.pictures import shares_picture
from capex.views.explore.spider_picture import PERCENTILES, spider_picture
from capex.views.explore.state import SWING, ExploreState
from capex.views.explore.turning import Together, together_in_pieces, turning_html
from capex.views.explore.words import input_title
from capex.views.floor.boxes import words
from capex.views.floor.fields import Field
from capex.views.inputs import dials

__all__ = ["Deeper"]

FloatArray = npt.NDArray[np.float64]

Turning = tuple[tuple[BreakEven, ...], Together]

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
        later = bought_later(state.study)
        self.waiting = self._waiting(later) if later is not None else None

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
            result, nearby = self._state.result, self._state.nearby
            held, pair = dict(result.scenario), self._pair()
            late = result.appraisal.lateness

            def work() -> Iterator[float | Turning]:
                for piece in turning_points_in_pieces(study, wanted, held, most=_ROWS):
                    if isinstance(piece, float):
                        yield 0.6 * piece
                    else:
                        table = piece
                web = (
                    nearby.spider
                    if nearby is not None and nearby.result is result
                    else spider(study, SWING, held, late)
                )
                for step in together_in_pieces(study, web, pair, held):
                    yield 0.6 + 0.4 * step if isinstance(step, float) else (table, step)

            return work

        return OnDemand(
            self._state, "What would have to be true?",
            "Every uncertain input, every control and every price of a machine alone, until the "
            "next best choice is level; then the two that matter most together.",
            asked, self._show_turning, [self._turns],
        )  # fmt: skip

    def _show_turning(self, found: Turning) -> None:
        self._turns.value = turning_html(*found, self._state.look, _ROWS)

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
            self._state, "How sure is the break-even volume?",
            f"The volume at which the two best change places, in each of {_CROSSINGS} draws of the "
            "other inputs.",
            asked, self._show_crossing, [self._range],
        )  # fmt: skip

    def _show_crossing(self, shown: tuple[CrossoverRange, tuple[str, str]]) -> None:
        self._range.value = crossing_html(*shown, self._state.study.uncertainty.seed)

    def _waiting(self, later: LaterPurchase) -> OnDemand[Freedom]:
        study = self._state.study

        def asked() -> Callable[[], Iterator[float | Freedom]]:
            held = dict(self._state.result.scenario)
            return lambda: freedom_in_pieces(
                study, draw(study, _DRAWS, held=held), later.key, later.place, held=held
            )

        def show(found: Freedom) -> None:
            self._freedom.value = waiting_html(found, self._state.look, _DRAWS)

        return OnDemand(
            self._state, "What is it worth to decide later?", later.introduction, asked, show,
            [self._freedom],
        )  # fmt: skip

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
                seed = study.uncertainty.seed
                for piece in importance_in_pieces(lead, inputs, _SAMPLE, seed=seed):
                    yield piece if isinstance(piece, float) else (piece, names)

            return work

        def show(found: tuple[Importance, tuple[str, str]]) -> None:
            self._shares.show(*shares_picture(found[0], self._state.look, found[1]))

        return OnDemand(
            self._state, "Shares of the variance",
            "How much of the spread of the lead each input brings, alone and together with others "
            "(Sobol indices).",
            asked, show, [self._shares],
        )  # fmt: skip


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
