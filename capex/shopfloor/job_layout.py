"""Every job type laid out on the widest roll that goes into a set of machines.

Imports numpy, `capex.study` and, of this folder, `layout` and `mix`.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from capex.shopfloor.arrays import BoolArray, FloatArray
from capex.shopfloor.layout import RollLayout, roll_layout
from capex.shopfloor.mix import Mix, over_jobs
from capex.study import Film, JobType, Knife, Laminator, Machine, PrintEngine, Study

__all__ = ["job_film", "job_layout"]

#: A machine takes rolls this much wider than it works on [m]. Common practice, no source.
_BEYOND: Final = 0.1


def job_film(study: Study, job: JobType) -> Film:
    """Return the roll material that an order is made of."""
    return study.films[job.film or job.cut_material or ""]


def job_layout(
    study: Study,
    mix: Mix,
    printer: Machine | None,
    laminator: Machine | None,
    cutter: Machine | None,
) -> tuple[RollLayout, BoolArray]:
    """Return the layout of one order, and whether a roll of its film goes into the machines."""
    films = [job_film(study, job) for job in mix.jobs]
    widths, limit = np.full((1, len(films)), np.inf), np.full((1, len(films)), np.inf)
    for part, needed in (
        (printer.printing if printer else None, mix.printed),
        (laminator.laminating if laminator else None, mix.laminated > 0),
        (cutter.cutting if cutter else None, mix.contour_cut),
    ):
        if part is not None:
            width, widest = _widths(part)
            widths = np.where(needed, np.minimum(widths, width), widths)
            limit = np.where(needed, np.minimum(limit, widest), limit)
    roll = _widest_roll(films, limit)
    fits = roll > 0
    full = over_jobs(film.roll_width for film in films)
    used = np.where(fits, roll, full)
    margins = 2.0 * over_jobs(film.edge_margin for film in films)
    return roll_layout(
        mix.width,
        mix.height,
        mix.pieces,
        usable_width=np.minimum(used - margins, widths),
        gap=study.shop.handling.piece_gap.si[:, None],
        overlap=np.where(mix.may_panel, mix.panel_overlap, 0.0),
        may_panel=mix.may_panel,
        roll_width=used,
    ), fits


def _widths(part: PrintEngine | Laminator | Knife) -> tuple[FloatArray, FloatArray]:
    """Return the width that a machine works on and the widest roll it takes, (n, 1) [m]."""
    if isinstance(part, PrintEngine):
        width = part.print_width.si[:, None]
    elif isinstance(part, Knife):
        width = part.cut_width.si[:, None]
    else:
        width = part.laminating_width.si[:, None]
    widest = width + _BEYOND if part.widest_roll is None else part.widest_roll.si[:, None]
    return width, widest


def _widest_roll(films: list[Film], limit: FloatArray) -> FloatArray:
    """Return the widest roll of each film within a limit, (n, j) [m]; 0 where none is."""
    count = max(len(film.narrower_rolls) for film in films)
    best = np.zeros((1, len(films)))
    for place in range(-1, count):
        width = over_jobs(
            film.roll_width if place < 0
            else film.narrower_rolls[place] if place < len(film.narrower_rolls) else None
            for film in films
        )  # fmt: skip
        best = np.maximum(best, np.where(width <= limit, width, 0.0))
    return best
