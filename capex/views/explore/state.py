"""The state of the page for a trade show: one appraisal at once, the draws after it.

May import: traitlets, and from capex study, shopfloor, decision and views.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import traitlets

from capex.decision.crossover import Crossover
from capex.decision.price_limit import PriceLimit
from capex.decision.risk.draws import draw
from capex.decision.risk.simulation import Simulation, run
from capex.decision.risk.spider import Spider, spider
from capex.decision.walk_away import walk_away, walk_away_prices
from capex.study import Study
from capex.views.charts.picture import Look
from capex.views.explore.offers import Offer, five_dials, offers
from capex.views.explore.refining import Refine, Refining
from capex.views.state import DecisionState, Result, leading_crossovers

__all__ = ["DRAWS", "ExploreState", "Nearby"]

#: Draws on screen: a first answer, then the one to read.
DRAWS: Final = (512, 4096)
#: Ends of every input's swing.
SWING: Final = (0.1, 0.9)


@dataclass(frozen=True)
class Nearby:
    """What follows from one result without draws.

    Parameters
    ----------
    result : Result
    against_baseline, against_rival, at_lender : PriceLimit or None
        Of the machine on offer; None where nothing is bought, and for a lender where it is the
        baseline that buys.
    crossovers : tuple of Crossover
        Where the lead changes along the volume.
    spider : Spider
        Every uncertain input at its 10th and 90th percentile.
    """

    result: Result
    against_baseline: PriceLimit | None
    against_rival: PriceLimit | None
    at_lender: PriceLimit | None
    crossovers: tuple[Crossover, ...]
    spider: Spider


@dataclass(frozen=True)
class Drawing:
    """How far the draws for a result are.

    Parameters
    ----------
    count : int
        Draws being worked out.
    done : float
        Share of them.
    """

    count: int
    done: float


@dataclass(frozen=True)
class Drawn:
    """A simulation and the result that it belongs to."""

    result: Result
    simulation: Simulation


class ExploreState(DecisionState):
    """What the page shows: five inputs, and what follows from them, the slow parts later.

    Parameters
    ----------
    study : Study
        As entered.
    refine : callable, optional
        Takes the longer work; by default it runs in a thread of its own.
    draws : sequence of int
        How many draws, each answer taking the place of the one before.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> state = ExploreState(study, draws=[32])
    >>> state.drawn.simulation.draws.count, state.drawn.result is state.result
    (32, True)
    """

    nearby: traitlets.Instance[Nearby | None] = traitlets.Instance(Nearby, allow_none=True)
    drawn: traitlets.Instance[Drawn | None] = traitlets.Instance(Drawn, allow_none=True)
    drawing: traitlets.Instance[Drawing | None] = traitlets.Instance(Drawing, allow_none=True)

    def __init__(
        self, study: Study, refine: Refine | None = None, draws: Sequence[int] = DRAWS
    ) -> None:
        self.offers = offers(study)
        self.offer: Offer | None = None
        self.draws = tuple(draws)
        self._refine: Refine = refine or Refining()
        super().__init__(study, later=lambda work: None)
        best = self.result.verdict.ranking
        bought = {offer.alternative: offer for offer in reversed(self.offers)}
        self.offer = next((bought[key] for key in best if key in bought), None)
        self.dials = five_dials(study, self.offer)
        # shares of late orders that turn out to be none change no result, yet free the draws
        self.observe(self.guarded(lambda _change: self.work_out()), ["result", "late_orders"])
        self.work_out()

    @property
    def look(self) -> Look:
        """How the page wants its charts."""
        return Look(self.study, self.units, self.currency)

    @property
    def is_drawn(self) -> bool:
        """Whether the simulation shown belongs to the result shown, with all its draws."""
        found = self.drawn
        if found is None or found.result is not self.result:
            return False
        return found.simulation.draws.count == self.draws[-1]

    def pick(self, key: str) -> None:
        """Take another machine on offer; the price of the one before returns to the study's."""
        self.offer = next(offer for offer in self.offers if offer.key == key)
        self.dials = five_dials(self.study, self.offer)
        before = self.result
        self.change_all(self.changes)
        if self.result is before:
            self.work_out()

    def _recompute(self, changes: Mapping[str, float]) -> None:
        changed = {
            path: value
            for path, value in changes.items()
            if path in self.dials
            and not np.isclose(value, self.dials[path].home, rtol=1e-9, atol=1e-12)
        }
        if self.offer is not None and self.offer.key in changed:
            changed |= dict.fromkeys(self.offer.price.paths, changed[self.offer.key])
        if changed == self.changes:
            self.trouble = None
        else:
            self._take(changed, self._at_once(changed, self.result))

    def work_out(self) -> None:
        """Work out what follows from the result shown, the quick part first.

        Where being late costs something, the draws hold the shares of late orders of the result,
        and wait until the first of them are known; what is under way for other inputs stops.
        """
        if self.late_orders == "unknown":
            self._refine.drop()
            self.drawing = None
            return
        result, offer, draws = self.result, self.offer, self.draws
        late = result.appraisal.lateness
        self.drawing = Drawing(draws[0], 0.0)

        def work() -> Iterator[object]:
            yield _nearby(result, offer)
            for count in draws:
                chosen = draw(result.study, count, held=result.scenario)
                for piece in run(result.study, chosen, result.scenario, late):
                    if isinstance(piece, Simulation):
                        yield Drawn(result, piece)
                    else:
                        yield Drawing(count, piece)

        self._refine(work, self._took)

    def _took(self, piece: Callable[[], object]) -> None:
        with self._guard.watching():
            found = piece()
            if isinstance(found, Nearby):
                self.nearby = found
            elif isinstance(found, Drawing):
                self.drawing = found
            elif isinstance(found, Drawn):
                with self.hold_trait_notifications():
                    self.drawn = found
                    if found.simulation.draws.count == self.draws[-1]:
                        self.drawing = None


def _nearby(result: Result, offer: Offer | None) -> Nearby:
    shown = result.study.replaced(dict(result.scenario))
    baseline, rival, lender = _limits(shown, offer) if offer is not None else (None, None, None)
    late = result.appraisal.lateness
    web = spider(result.study, SWING, result.scenario, late)
    return Nearby(result, baseline, rival, lender, leading_crossovers(result), web)


def _limits(study: Study, offer: Offer) -> tuple[PriceLimit, PriceLimit, PriceLimit | None]:
    """Return the most that an offer may cost against the baseline, the rivals and a lender."""
    if offer.alternative == study.baseline:
        limit = walk_away(study, offer.alternative, offer.place)
        return limit, limit, None
    machines = walk_away_prices(study, offer.alternative)
    found = next(one for one in machines if one.place == offer.place)
    return found.against_baseline, found.against_rival, found.at_lender
