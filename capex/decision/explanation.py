"""Why this number: the ledger lines that a headline figure sums, and the inputs behind it.

Which inputs stand behind a figure is found by moving each of them: one that moves neither the
figure nor any of its lines is not behind it. So none is forgotten and none is claimed.

Imports numpy, `capex.study`, `capex.shopfloor.year.lateness`, `capex.finance.ledger`, and the
appraisal and the figures of this folder.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import Appraisal, Lateness, appraise
from capex.decision.figure_weights import Reading
from capex.decision.figures import FIGURES, Figure, figure
from capex.decision.outcome import Outcome
from capex.decision.solutions import Solution
from capex.errors import InputError
from capex.finance.ledger import Line
from capex.shopfloor.year.lateness import being_late_costs
from capex.study import Quantity, Study

__all__ = ["FIGURES", "Behind", "Explanation", "Summand", "explanation"]

FloatArray = npt.NDArray[np.float64]

Move = tuple[str, Quantity, float]

#: Share of the largest line below which a change is the rounding of sums.
_ROUNDING: Final = 1e-11
#: How far an input is moved [-], or by how much where it is 0 or counts whole things.
_STEP: Final = 0.01
#: Inputs that go the path together, beside the unmoved scenario and that of a slope.
_TOGETHER: Final = 126


@dataclass(frozen=True)
class Summand:
    """One ledger line of a figure.

    Parameters
    ----------
    key, name, group : str
        As in the ledger.
    worth : float
        What it adds to the figure [currency], or to what that is divided by.
    below : bool
        Whether it is part of a ratio's divisor.
    """

    key: str
    name: str
    group: str
    worth: float
    below: bool = False


@dataclass(frozen=True)
class Behind:
    """One input behind a figure.

    Parameters
    ----------
    path : str
        Of the input in the study.
    quantity : Quantity
        As entered, with its source and date.
    moved_to : float
        Value that it was moved to, canonical unit.
    effect : float
        Change of the figure that this brought, in the figure's unit; NaN where the figure is not
        there with one of the two values.
    lines : tuple of str
        Keys of the ledger lines that moved.
    """

    path: str
    quantity: Quantity
    moved_to: float
    effect: float
    lines: tuple[str, ...]

    @property
    def by_own_step(self) -> bool:
        """Whether it was moved by another step than 1 % of its value."""
        return self.quantity.entry.whole or float(self.quantity.si[0]) == 0.0

    @property
    def is_evidence(self) -> bool:
        """Whether the input is entered, measured or quoted: defaults never count as evidence."""
        return self.quantity.source not in {"default", "assumed"}


@dataclass(frozen=True)
class Explanation:
    """A headline figure opened.

    Parameters
    ----------
    figure : Figure
    alternative : str
        Key.
    value : float
        In the figure's unit; NaN where there is none.
    opening : float or None
        Money in the bank on the day of decision, where it is part of the figure [currency].
    summands : tuple of Summand
        Ledger lines, largest first, those of a divisor last; none for figures of time and space.
    inputs : tuple of Behind
        Largest effect first: those moved by 1 %, then whole numbers and zeros, whose steps do not
        compare.
    not_moved : tuple of str
        Paths of inputs that could not be moved alone.
    divisor : float or None
        What the lines are divided by, where the figure is a ratio [currency].
    sought : str
        Of a figure that is sought: of what it is, or why there is none.
    outcome : Outcome, optional
        What was opened; None where a figure that is sought is not there.
    """

    figure: Figure
    alternative: str
    value: float
    opening: float | None
    summands: tuple[Summand, ...]
    inputs: tuple[Behind, ...]
    not_moved: tuple[str, ...]
    divisor: float | None = None
    sought: str = ""
    outcome: Outcome | None = field(default=None, repr=False)

    @property
    def total(self) -> float:
        """What the lines, with the opening cash and without a divisor's, add up to [currency]."""
        above = (each.worth for each in self.summands if not each.below)
        return sum(above, self.opening or 0.0)


def explanation(
    study: Study,
    key: str,
    alternative: str,
    scenario: Mapping[str, float] | None = None,
    machine: str | None = None,
) -> Explanation:
    """Return the lines and inputs behind a headline figure of an alternative.

    Every quantity of the study is moved by 1 % of its value, whole numbers by 1 and zeros by
    0.01 of their canonical unit, up where its bounds allow it, else down. Where being late costs
    something, the shares of late orders are held: no year is simulated for a moved input. A figure
    that is sought, such as a price, is opened where it was found; an input's effect on it is then
    the effect there, over the slope: exact to first order.

    Parameters
    ----------
    study : Study
    key : str
        Of the figure, one of `FIGURES`.
    alternative : str
        Key of the alternative.
    scenario : mapping of str to float, optional
        Inputs held at other values, canonical units.
    machine : str, optional
        Key of the machine that a walk-away price is of; by default the first that is bought.

    Returns
    -------
    Explanation

    Raises
    ------
    InputError
        Unknown figure, alternative, machine or path.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> why = explanation(study, "gain", "separate")
    >>> bool(abs(why.total - why.value) < 1e-6)
    True
    """
    asked = figure(key)
    study.alternative(alternative)
    shown = study.replaced(dict(scenario or {}))
    found = None if asked.sought is None else asked.sought(shown, alternative, machine)
    if found is not None and found.value is None:
        return Explanation(asked, alternative, float("nan"), None, (), (), (), None, found.words)
    view = _View(asked, alternative, found)
    shown = shown if found is None else found.study
    unmoved = appraise(shown)
    one = view.outcome(unmoved)
    moves, not_moved = _moves(shown, () if found is None else found.paths)
    inputs: list[Behind] = []
    for start in range(0, len(moves), _TOGETHER):
        inputs += _behind(view, shown, moves[start : start + _TOGETHER], unmoved.lateness)
    value = float(asked.value(one)[0])
    return Explanation(
        figure=asked,
        alternative=alternative,
        value=value if found is None or found.value is None else found.value,
        opening=float(one.opening_cash[0]) if asked.opening else None,
        summands=_summands(asked, one),
        inputs=tuple(sorted(inputs, key=_rank)),
        not_moved=not_moved,
        divisor=float(asked.divisor.amount(one)[0]) if asked.divisor else None,
        sought="" if found is None else found.words,
        outcome=one,
    )


@dataclass(frozen=True)
class _View:
    """A figure of an alternative, and where it was found if it was sought."""

    figure: Figure
    alternative: str
    found: Solution | None

    def outcome(self, appraisal: Appraisal) -> Outcome:
        """Return the alternative's outcome, measured against what the figure is taken over."""
        outcome = appraisal.outcomes[self.alternative]
        if self.found is not None and self.found.against is not None:
            outcome.measured_against(appraisal.outcomes[self.found.against])
        return outcome

    def effects(self, outcome: Outcome, raised: npt.NDArray[np.bool_]) -> FloatArray:
        """Return by how much each scenario moves the figure, from its first on, shape (n,).

        Of one that is sought: what it reads as there, less what the level needs back.

        Parameters
        ----------
        outcome : Outcome
        raised : ndarray of bool, shape (n,)
            Where the input that is sought is raised and nothing else.
        """
        values = self.figure.value(outcome)
        with np.errstate(invalid="ignore"):  # no payback before and after: no change to speak of
            change = np.asarray(values - values[0])
        if self.found is None:
            return change
        read = np.broadcast_to(self.found.read(outcome), change.shape)
        slope = float(change[raised][0]) / float(read[raised][0] - read[0])
        return np.asarray(read - read[0] - change / slope)


def _rank(behind: Behind) -> tuple[bool, float]:
    """Return what puts the largest effect first, those of 1 % before those of other steps."""
    effect = 0.0 if np.isnan(behind.effect) else abs(behind.effect)
    return behind.by_own_step, -effect


def _lines(reading: Reading, outcome: Outcome, incremental: bool) -> dict[Line, FloatArray]:
    """Return what each ledger line adds to a figure by month, read as if it were the ledger."""
    lines: dict[Line, FloatArray] = {}
    sides = [(1.0, outcome)]
    if incremental:
        sides.append((-1.0, outcome.baseline))
    for sign, side in sides:
        ledger = side.path.ledger
        for place, line in enumerate(ledger.lines):
            alone = replace(ledger, lines=(line,), table=ledger.table[:, place : place + 1])
            flow = reading(replace(side, details=replace(side.path, ledger=alone)))
            if flow.any():
                lines[line] = lines.get(line, np.zeros(1)) + sign * flow
    return lines


def _worths(asked: Figure, outcome: Outcome) -> dict[tuple[Line, bool], FloatArray]:
    """Return what each line adds to a figure in every scenario, and which are of its divisor.

    Months weigh as in the first scenario, so that a line moves only if its cash does.
    """
    if asked.weights is None:
        return {}
    weights, divisor = asked.weights(outcome), asked.divisor
    above = _lines(asked.read, outcome, asked.incremental)
    worths = {(line, False): flow @ weights[0] for line, flow in above.items()}
    if divisor is not None and divisor.read is not None:
        weights = weights if divisor.weights is None else divisor.weights(outcome)
        below = _lines(divisor.read, outcome, asked.incremental)
        worths |= {(line, True): flow @ weights[0] for line, flow in below.items()}
    return worths


def _summands(asked: Figure, outcome: Outcome) -> tuple[Summand, ...]:
    """Return the lines that make up the figure of the first scenario."""
    summands = [
        Summand(line.key, line.name, line.group, float(worth[0]), below)
        for (line, below), worth in _worths(asked, outcome).items()
        if worth[0]
    ]
    return tuple(sorted(summands, key=lambda each: (each.below, -abs(each.worth))))


def _moves(study: Study, set_: Sequence[str]) -> tuple[list[Move], tuple[str, ...]]:
    """Return where every input that is not set can be moved to, and paths of those that cannot."""
    moves, stuck = [], []
    for path, quantity in study.quantities():
        if path in set_:
            continue
        here = float(quantity.si[0])
        step = 1.0 if quantity.entry.whole else abs(here) * _STEP or _STEP
        for value in (here + step, here - step):  # down where the bounds forbid up
            try:
                moved = study.replaced({path: value})
            except InputError:
                continue
            if being_late_costs(moved) and not being_late_costs(study):
                continue  # a cost that the study does not have stands behind nothing
            moves.append((path, quantity, value))
            break
        else:
            stuck.append(path)
    return moves, tuple(stuck)


def _behind(
    view: _View, study: Study, moves: Sequence[Move], lateness: Lateness | None
) -> Iterator[Behind]:
    """Yield those of some inputs that move the figure or its lines; scenario 0 moves none."""
    sought = () if view.found is None else view.found.paths
    size = len(moves) + 1 + bool(sought)
    scenarios = {}
    for place, (path, quantity, value) in enumerate(moves, start=1):
        scenarios[path] = np.full(size, float(quantity.si[0]))
        scenarios[path][place] = value
    for path in sought:  # the last scenario raises what was sought, for its slope
        scenarios[path] = np.full(size, float(study.quantity(path).si[0]))
        scenarios[path][-1] *= 1.0 + _STEP
    outcome = view.outcome(appraise(study, scenarios, keep="everything", lateness=lateness))
    raised = np.arange(size) > len(moves)
    effects = view.effects(outcome, raised)
    worths = _worths(view.figure, outcome)
    largest = max((np.abs(worth).max() for worth in worths.values()), default=1.0)
    least = _ROUNDING * (max(abs(view.figure.value(outcome)[0]), 1.0) if not sought else largest)
    for place, (path, quantity, value) in enumerate(moves, start=1):
        moved = tuple(
            line.key
            for (line, _), worth in worths.items()
            if abs(worth[place] - worth[0]) > _ROUNDING * largest
        )
        if moved or abs(effects[place]) > least:
            yield Behind(path, quantity, value, float(effects[place]), moved)
