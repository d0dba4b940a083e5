"""Pieces laid out on a roll: across, rows, film used, waste, and panels where one is too wide.

Imports numpy, `capex.errors` and `capex.shopfloor.arrays`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.shopfloor.arrays import BoolArray, FloatArray, bounded

__all__ = ["RollLayout", "roll_layout"]

#: Share by which float noise may miss a whole number: a piece exactly as wide as the roll fits.
_ROUNDING: Final = 1e-9


@dataclass(frozen=True, eq=False)
class RollLayout:
    """How a quantity of equal pieces lies on a roll; every field has the broadcast shape (...).

    Where `makeable` is false nothing is laid out and every other field is 0 or false: read
    `makeable` first.

    Parameters
    ----------
    makeable : ndarray of bool
        Whether the piece fits, whole or in panels.
    rotated : ndarray of bool
        Whether the height lies across the roll.
    panels : ndarray
        Panels of one piece [-]; 1 where it lies whole.
    across, rows : ndarray
        Panels side by side in the fullest row, and rows along the roll [-].
    printed_width, printed_length : ndarray
        Extent of the layout across and along the roll [m].
    film_length : ndarray
        Roll length used, end margins included [m].
    film_area : ndarray
        Roll area used, over the full roll width [m²].
    waste_share : ndarray
        Share of the film area that is no finished piece [-], in [0, 1).
    """

    makeable: BoolArray
    rotated: BoolArray
    panels: FloatArray
    across: FloatArray
    rows: FloatArray
    printed_width: FloatArray
    printed_length: FloatArray
    film_length: FloatArray
    film_area: FloatArray
    waste_share: FloatArray


def roll_layout(
    piece_width: npt.ArrayLike,
    piece_height: npt.ArrayLike,
    quantity: npt.ArrayLike,
    *,
    usable_width: npt.ArrayLike,
    gap: npt.ArrayLike,
    overlap: npt.ArrayLike = 0.0,
    may_panel: npt.ArrayLike = False,
    roll_width: npt.ArrayLike | None = None,
    end_margin: npt.ArrayLike = 0.0,
) -> RollLayout:
    """Return the layout of equal pieces that uses the least roll length.

    Assumes a grid of equal rows, both orientations tried, the unrotated one kept where they
    tie. Panels are tried only where the piece fits in neither orientation: equal strips across
    one side, each joint overlapping.

    Parameters
    ----------
    piece_width, piece_height : array_like (...)
        [m].
    quantity : array_like (...)
        Pieces laid out together [-], whole, at least 1.
    usable_width : array_like (...)
        Width that can carry pieces [m].
    gap : array_like (...)
        Between neighbours, across and along [m].
    overlap : array_like (...)
        Of neighbouring panels of one piece [m].
    may_panel : array_like of bool (...)
        Whether the piece may be made in panels.
    roll_width : array_like (...), optional
        Width of the film that is used up [m]; the usable width unless given.
    end_margin : array_like (...)
        Film lost before and after the layout together [m].

    Returns
    -------
    RollLayout

    Raises
    ------
    InputError
        A value outside its bounds, or a roll narrower than its usable width.

    Examples
    --------
    >>> layout = roll_layout(0.3, 0.2, 40, usable_width=1.3, gap=0.01)
    >>> float(layout.across), float(layout.rows), float(layout.printed_length.round(3))
    (4.0, 10.0, 2.09)
    >>> wide = roll_layout(2.4, 1.5, 1, usable_width=1.3, gap=0.0, overlap=0.02, may_panel=True)
    >>> bool(wide.makeable), float(wide.panels), float(wide.printed_length)
    (True, 2.0, 3.0)

    Notes
    -----
    across = floor((usable + gap)/(piece + gap)); panels = ceil((side − overlap)/(usable −
    overlap)). Derivable: source `derivable`.
    """
    width = bounded("piece_width", piece_width, "m", above=0)
    height = bounded("piece_height", piece_height, "m", above=0)
    count = bounded("quantity", quantity, at_least=1)
    usable = bounded("usable_width", usable_width, "m", above=0)
    spacing = bounded("gap", gap, "m", at_least=0)
    joint = bounded("overlap", overlap, "m", at_least=0)
    roll = usable if roll_width is None else bounded("roll_width", roll_width, "m", above=0)
    if np.any(roll < usable * (1.0 - _ROUNDING)):
        raise InputError("roll_width", float(np.min(roll)), "must be at least the usable width")
    allowed = np.asarray(may_panel, dtype=np.bool_)
    if np.any(allowed & (joint >= usable)):
        raise InputError("overlap", float(np.max(joint)), "must be less than the usable width")
    whole_upright = width <= usable * (1.0 + _ROUNDING)
    whole_rotated = height <= usable * (1.0 + _ROUNDING)
    panelled = allowed & ~whole_upright & ~whole_rotated
    film = _Film(usable, spacing, joint)
    upright = _grid(width, height, count, film, whole_upright, panelled)
    rotated = _grid(height, width, count, film, whole_rotated, panelled)
    turned = rotated.possible & (
        ~upright.possible | (rotated.length < upright.length * (1.0 - _ROUNDING))
    )
    best = rotated.where(turned, upright)
    margin = bounded("end_margin", end_margin, "m", at_least=0)
    return _layout(best, turned, width * height * count, roll, margin)


@dataclass(frozen=True, eq=False)
class _Film:
    """What of the roll a layout can use."""

    usable: FloatArray
    gap: FloatArray
    overlap: FloatArray


@dataclass(frozen=True, eq=False)
class _Grid:
    """Rows of equal panels in one orientation."""

    possible: BoolArray
    panels: FloatArray
    across: FloatArray
    rows: FloatArray
    width: FloatArray
    length: FloatArray

    def where(self, condition: BoolArray, other: _Grid) -> _Grid:
        """Return this grid where the condition holds, the other one elsewhere."""
        return _Grid(
            **{
                name: np.where(condition, getattr(self, name), getattr(other, name))
                for name in self.__dataclass_fields__
            }
        )


def _grid(
    side: FloatArray,
    along: FloatArray,
    count: FloatArray,
    film: _Film,
    whole: BoolArray,
    panelled: BoolArray,
) -> _Grid:
    """Return the grid with `side` across the roll and `along` along it."""
    strip = np.where(panelled, film.usable - film.overlap, 1.0)
    strips = np.ceil((side - film.overlap) / strip * (1.0 - _ROUNDING))
    panels = np.where(panelled, strips, 1.0)
    panel = (side + (panels - 1.0) * film.overlap) / panels
    possible = whole | panelled
    fit = np.floor((film.usable + film.gap) / (panel + film.gap) * (1.0 + _ROUNDING))
    total = count * panels
    across = np.minimum(np.where(possible, fit, 1.0), np.ceil(total))
    rows = np.ceil(total / across * (1.0 - _ROUNDING))
    return _Grid(
        possible=possible,
        panels=panels,
        across=across,
        rows=rows,
        width=across * panel + (across - 1.0) * film.gap,
        length=rows * along + (rows - 1.0) * film.gap,
    )


def _layout(
    grid: _Grid, turned: BoolArray, finished: FloatArray, roll: FloatArray, margin: FloatArray
) -> RollLayout:
    """Return the layout of a grid, 0 wherever the grid is not possible."""
    made = grid.possible.astype(np.float64)
    film_length = made * (grid.length + margin)
    area = film_length * roll
    # Rounding may make a layout without waste a hair smaller than its pieces.
    waste = np.maximum(0.0, 1.0 - finished / np.where(area > 0, area, finished))
    return RollLayout(
        makeable=grid.possible,
        rotated=turned,
        panels=made * grid.panels,
        across=made * grid.across,
        rows=made * grid.rows,
        printed_width=made * grid.width,
        printed_length=made * grid.length,
        film_length=film_length,
        film_area=area,
        waste_share=waste,
    )
