"""Why this number: the ledger lines that a headline figure sums, and the inputs behind it.

Which inputs stand behind a figure is found by moving each of them: one that moves neither the
figure nor any of its lines is not behind it. So none is forgotten and none is claimed.

Imports numpy, `capex.study`, `capex.shopfloor.year.lateness`, `capex.finance.ledger`, and the
appraisal and the figures of this folder.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import Appraisal, Lateness, appraise
from capex.decision.cover import lender_view_of
from capex.decision.figures import FIGURES, Divisor, Figure, figure
from capex.decision.outcome import Outcome, of_scenario
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
#: Inputs that go the path together, beside the unmoved scenario.
_TOGETHER: Final = 127


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
        What the lines are divided by, where the figure is a lender's ratio [currency].
    """

    figure: Figure
    alternative: str
    value: float
    opening: float | None
    summands: tuple[Summand, ...]
    inputs: tuple[Behind, ...]
    not_moved: tuple[str, ...]
    divisor: float | None = None

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
) -> Explanation:
    """Return the lines and inputs behind a headline figure of an alternative.

    Every quantity of the study is moved by 1 % of its value, whole numbers by 1 and zeros by
    0.01 of their canonical unit, up where its bounds allow it, else down. Where being late costs
    something, the shares of late orders are held: no year is simulated for a moved input.

    Parameters
    ----------
    study : Study
    key : str
        Of the figure, one of `FIGURES`.
    alternative : str
        Key of the alternative.
    scenario : mapping of str to float, optional
        Inputs held at other values, canonical units.

    Returns
    -------
    Explanation

    Raises
    ------
    InputError
        Unknown figure, alternative or path.

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
    unmoved = appraise(shown)
    one, summands = _opened(asked, unmoved, alternative)
    moves, not_moved = _moves(shown)
    inputs: list[Behind] = []
    for start in range(0, len(moves), _TOGETHER):
        inputs += _behind(
            shown, asked, alternative, moves[start : start + _TOGETHER], unmoved.lateness
        )
    return Explanation(
        figure=asked,
        alternative=alternative,
        value=float(asked.value(one)[0]),
        opening=float(one.opening_cash[0]) if asked.opening else None,
        summands=summands,
        inputs=tuple(sorted(inputs, key=_rank)),
        not_moved=not_moved,
        divisor=float(asked.divisor.amount(one)[0]) if asked.divisor else None,
    )


def _rank(behind: Behind) -> tuple[bool, float]:
    """Return what puts the largest effect first, those of 1 % before those of other steps."""
    effect = 0.0 if np.isnan(behind.effect) else abs(behind.effect)
    return behind.by_own_step, -effect


def _counted(asked: Figure, found: Appraisal, alternative: str) -> dict[Line, FloatArray]:
    """Return the ledger lines that a figure counts, by month, shape (n, m + 1)."""
    if asked.weights is None:
        return {}
    if asked.divisor is not None:
        above, below = _parts(asked.divisor, found.outcomes[alternative])
        return above | below
    lines: dict[Line, FloatArray] = {}
    sides = [(1.0, found.outcomes[alternative])]
    if asked.incremental:
        sides.append((-1.0, found.baseline))
    for sign, outcome in sides:
        ledger = outcome.path.ledger
        for place, line in enumerate(ledger.lines):
            if asked.financing or line.group != "financing":
                lines[line] = lines.get(line, np.zeros(1)) + sign * ledger.table[:, place]
    return lines


def _parts(
    divisor: Divisor, outcome: Outcome
) -> tuple[dict[Line, FloatArray], dict[Line, FloatArray]]:
    """Return the lines above and below a lender's ratio: each read as if it were the ledger."""
    above: dict[Line, FloatArray] = {}
    below: dict[Line, FloatArray] = {}
    ledger = outcome.path.ledger
    for place, line in enumerate(ledger.lines):
        alone = replace(ledger, lines=(line,), table=ledger.table[:, place : place + 1])
        view = lender_view_of(replace(outcome, details=replace(outcome.path, ledger=alone)))
        for part, lines in ((divisor.above, above), (divisor.below, below)):
            flow = part(view) if part is not None else np.zeros(1)
            if flow.any():
                lines[line] = flow
    return above, below


def _opened(
    asked: Figure, found: Appraisal, alternative: str
) -> tuple[Outcome, tuple[Summand, ...]]:
    """Return the outcome of the first scenario and the lines that make up the figure there."""
    one = found.outcomes[alternative]
    lines = _counted(asked, found, alternative)
    if asked.weights is None:
        return one, ()
    weights = of_scenario(asked.weights(one), 0)
    worths = {line: float(of_scenario(flow, 0) @ weights) for line, flow in lines.items()}
    below = _parts(asked.divisor, one)[1] if asked.divisor else {}
    summands = [
        Summand(line.key, line.name, line.group, worth, line in below)
        for line, worth in worths.items()
        if worth
    ]
    return one, tuple(sorted(summands, key=lambda each: (each.below, -abs(each.worth))))


def _moves(study: Study) -> tuple[list[Move], tuple[str, ...]]:
    """Return where every input can be moved to, and the paths of those that cannot alone."""
    moves, stuck = [], []
    for path, quantity in study.quantities():
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
    study: Study,
    asked: Figure,
    alternative: str,
    moves: Sequence[Move],
    lateness: Lateness | None,
) -> Iterator[Behind]:
    """Yield those of some inputs that move the figure or its lines; scenario 0 moves none."""
    scenarios = {}
    for place, (path, quantity, value) in enumerate(moves, start=1):
        scenarios[path] = np.full(len(moves) + 1, float(quantity.si[0]))
        scenarios[path][place] = value
    found = appraise(study, scenarios, keep="everything", lateness=lateness)
    outcome = found.outcomes[alternative]
    values = asked.value(outcome)
    with np.errstate(invalid="ignore"):  # no payback before and after: no change to speak of
        effects = values - values[0]
    lines = _counted(asked, found, alternative)
    weights = np.ones(1) if asked.weights is None else asked.weights(outcome)[0]
    worths = {line: flow @ weights for line, flow in lines.items()}
    rounding = _ROUNDING * max((np.abs(worth).max() for worth in worths.values()), default=1.0)
    for place, (path, quantity, value) in enumerate(moves, start=1):
        moved = tuple(
            line.key for line, worth in worths.items() if abs(worth[place] - worth[0]) > rounding
        )
        if moved or abs(effects[place]) > _ROUNDING * max(abs(values[0]), 1.0):
            yield Behind(path, quantity, value, float(effects[place]), moved)
