"""Who gives way when a month is too full: the least loss that fits the load into the hours.

Every month of every scenario is a small linear programme: orders given up, orders moved to
another machine and hours of overtime are the moves; each station's excess load is what they must
relieve. All programmes are solved together by a bounded dual simplex over a trailing problem
axis. It starts from "everything is made", which no order would improve on but for the hours, so
every step is a repair of the fullest station at the least loss per hour: merit order, repriced.

Imports numpy, `capex.errors` and `capex.shopfloor.arrays`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.errors import NoAnswerError
from capex.shopfloor.arrays import BoolArray, FloatArray

__all__ = ["Relief", "least_loss_relief"]

IntArray = npt.NDArray[np.intp]

_FEASIBLE: Final = 1e-9
_PIVOT: Final = 1e-9
_ROUNDING: Final = 1e-7
_MOST_STEPS: Final = 400


@dataclass(frozen=True)
class Relief:
    """How far each move is made, and what one more unit of each row would save.

    Parameters
    ----------
    moves : ndarray, shape (v, p)
        Each between 0 and 1.
    worth : ndarray, shape (r, p)
        Saving of loss for one unit more on a row, at least 0.
    """

    moves: FloatArray
    worth: FloatArray


def least_loss_relief(excess: FloatArray, relief: FloatArray, loss: FloatArray) -> Relief:
    """Return the moves of least total loss that relieve every excess.

    Minimises ``sum(loss * moves)`` subject to ``sum(relief * moves) >= excess`` on every row and
    ``0 <= moves <= 1``. A row that limits rather than relieves is entered with both sides
    negative.

    Parameters
    ----------
    excess : ndarray, shape (r, p)
        What must be relieved; negative where there is room.
    relief : ndarray, shape (r, v, p)
        Relief of each row by each full move.
    loss : ndarray, shape (v, p)
        Loss by each full move, at least 0.

    Returns
    -------
    Relief
        Exact to rounding.

    Raises
    ------
    NoAnswerError
        Not even all moves together relieve some row.

    Examples
    --------
    Two jobs on one station that is 1 hour over: the one that loses less per hour gives way.

    >>> import numpy as np
    >>> found = least_loss_relief(
    ...     np.array([[1.0]]), np.array([[[2.0], [4.0]]]), np.array([[10.0], [30.0]])
    ... )
    >>> found.moves[:, 0].tolist(), round(found.worth[0, 0].item(), 6)
    ([0.5, 0.0], 5.0)

    Notes
    -----
    Bounded dual simplex with complemented variables; source `chvatal-1983`, ch. 8 and 10.
    """
    tableau = _Tableau.started(excess, relief, loss)
    moves = np.empty_like(loss)
    worth = np.empty_like(excess)
    places = np.arange(loss.shape[-1])
    for _ in range(_MOST_STEPS):
        row, below, worst = tableau.worst_row()
        settled = worst <= _FEASIBLE
        if settled.any():
            done, going = np.flatnonzero(settled), np.flatnonzero(~settled)
            found = tableau.only(done).solution()
            moves[:, places[done]] = found.moves
            worth[:, places[done]] = found.worth
            if not going.size:
                return Relief(moves, worth)
            places, row, below = places[going], row[going], below[going]
            tableau = tableau.only(going)
        tableau.repair(row, below)
    raise NoAnswerError(f"capacity: {places.size} months were not settled in {_MOST_STEPS} steps")


@dataclass
class _Tableau:
    """A dual feasible simplex tableau for each problem, the problem axis last.

    Variables 0 … v−1 are the moves, v … v+r−1 the slacks of the rows. A complemented variable is
    counted down from its upper bound.
    """

    body: FloatArray
    right: FloatArray
    price: FloatArray
    basis: IntArray
    others: IntArray
    flipped: BoolArray

    @classmethod
    def started(cls, excess: FloatArray, relief: FloatArray, loss: FloatArray) -> _Tableau:
        rows, moves, count = relief.shape
        # a trace of loss in the order of the moves keeps ties from cycling
        trace = 1e-10 * (1.0 + np.arange(moves)) * max(float(loss.max(initial=0.0)), 1e-300)
        return cls(
            body=-relief,
            right=-excess,
            price=loss + trace[:, None],
            basis=np.repeat(np.arange(moves, moves + rows)[:, None], count, axis=1),
            others=np.repeat(np.arange(moves)[:, None], count, axis=1),
            flipped=np.zeros((moves + rows, count), dtype=bool),
        )

    def only(self, kept: IntArray) -> _Tableau:
        return _Tableau(
            self.body.take(kept, axis=-1),
            self.right.take(kept, axis=-1),
            self.price.take(kept, axis=-1),
            self.basis.take(kept, axis=-1),
            self.others.take(kept, axis=-1),
            self.flipped.take(kept, axis=-1),
        )

    def worst_row(self) -> tuple[IntArray, BoolArray, FloatArray]:
        """Return the most violated row, whether it is below 0 (or above 1), and by how much."""
        moves = self.others.shape[0]
        under = -self.right
        over = np.where(self.basis < moves, self.right - 1.0, -np.inf)
        violation = np.maximum(under, over)
        row = violation.argmax(axis=0)
        place = np.arange(row.size)
        return row, under[row, place] >= over[row, place], violation[row, place]

    def repair(self, row: IntArray, below: BoolArray) -> None:
        """Make one pivot in every problem: the row's variable leaves at the bound it broke."""
        place = np.arange(row.size)
        line = self.body[row, :, place].T
        value = self.right[row, place]
        leaving = self.basis[row, place]
        sign = np.where(below, 1.0, -1.0)
        line = line * sign
        value = np.where(below, value, 1.0 - value)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.where(line < -_PIVOT, self.price / -line, np.inf)
        column = ratio.argmin(axis=0)
        stuck = ~np.isfinite(ratio[column, place])
        if stuck.any():
            self._repair_others(row, below, stuck)
            return
        self.flipped[leaving, place] ^= ~below
        pivot = line[column, place]
        line /= pivot
        line[column, place] = 1.0 / pivot
        value /= pivot
        gone = self.body[:, column, place]
        self.body[:, column, place] = 0.0
        self.body -= gone[:, None, :] * line[None, :, :]
        self.body[row, :, place] = line.T
        self.right -= gone * value
        self.right[row, place] = value
        cost = self.price[column, place]
        self.price[column, place] = 0.0
        self.price -= cost * line
        self.basis[row, place] = self.others[column, place]
        self.others[column, place] = leaving

    def _repair_others(self, row: IntArray, below: BoolArray, stuck: BoolArray) -> None:
        """Accept what no move can relieve as rounding, where it is that small; pivot the rest."""
        place = np.flatnonzero(stuck)
        value = self.right[row[stuck], place]
        missing = np.where(below[stuck], -value, value - 1.0)
        if bool((missing > _ROUNDING).any()):
            raise NoAnswerError("capacity: a month's load cannot be relieved by any move")
        self.right[row[stuck], place] = np.where(below[stuck], 0.0, 1.0)
        others = self.only(np.flatnonzero(~stuck))
        if others.others.shape[1]:
            others.repair(row[~stuck], below[~stuck])
            for name in ("body", "right", "price", "basis", "others", "flipped"):
                getattr(self, name)[..., ~stuck] = getattr(others, name)

    def solution(self) -> Relief:
        """Return what the present bases say."""
        moves, count = self.others.shape
        values = np.zeros((moves + self.basis.shape[0], count))
        np.put_along_axis(values, self.basis, self.right, axis=0)
        values[:moves] = np.where(self.flipped[:moves], 1.0 - values[:moves], values[:moves])
        worth = np.zeros_like(values)
        np.put_along_axis(worth, self.others, self.price, axis=0)
        return Relief(np.clip(values[:moves], 0.0, 1.0), worth[moves:])
