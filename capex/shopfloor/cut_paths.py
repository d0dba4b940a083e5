"""What the knife follows for each job type: lengths of the cut path, and times with a knife.

A path described by length and segments is timed in closed form for all types together; drawn
paths (rectangle, circle, artwork) are timed contour by contour.

Imports numpy, `capex.study` and the cutting files of this folder.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from capex.shopfloor.arrays import FloatArray, side_by_side
from capex.shopfloor.artwork import parse_artwork
from capex.shopfloor.contour import Contour, circle_contour, rectangle_contour
from capex.shopfloor.cutting import contour_time, segmented_path_time
from capex.shopfloor.mix import Mix, over_jobs
from capex.study import Artwork, Circle, DescribedPath, JobType, Knife, Rectangle, Study
from capex.study.catalogue import artwork_text

__all__ = ["cut_lengths", "cut_times", "job_contours"]


def cut_lengths(study: Study, mix: Mix) -> FloatArray:
    """Return the metres that the knife cuts for one piece, all passes, shape (n, j)."""
    columns = []
    for job in mix.jobs:
        if job.cut is None:
            columns.append(np.zeros(1))
        elif isinstance(job.cut, DescribedPath):
            columns.append(job.cut.length.si)
        else:
            contours = job_contours(study, job)
            columns.append(np.array([contour.path_length for contour in contours]))
    passes = over_jobs(job.cut_passes for job in mix.jobs)
    return side_by_side(columns) * passes


def cut_times(study: Study, mix: Mix, knife: Knife, *, laminated: bool) -> FloatArray:
    """Return the seconds that a knife needs for one piece of every type, shape (n, j).

    Laminated work is cut at the knife's share of the set speed.
    """
    factor = study.levers.cut_speed.si
    share = knife.laminated_speed.si if laminated else np.ones(1)
    speed = knife.set_speed.si * factor
    travel = (knife.travel_speed or knife.set_speed).si * factor
    passes = over_jobs(job.cut_passes for job in mix.jobs)
    described = [job.cut if isinstance(job.cut, DescribedPath) else None for job in mix.jobs]
    times = segmented_path_time(
        over_jobs(path.length if path else None for path in described),
        over_jobs(path.segments if path else None for path in described),
        speed=speed[:, None],
        speed_factor=share[:, None],
        acceleration=knife.acceleration.si[:, None],
        corner_dwell=knife.corner_dwell.si[:, None],
        lifts=over_jobs(path.lifts if path else None for path in described),
        lift_time=knife.lift_time.si[:, None],
        passes=passes,
    )
    columns = list(times.T)
    for place, job in enumerate(mix.jobs):
        if job.cut is None or isinstance(job.cut, DescribedPath):
            continue
        each = [
            contour_time(
                contour,
                speed=speed,
                speed_factor=share,
                corner_angle=knife.corner_angle.si,
                acceleration=knife.acceleration.si,
                lateral_acceleration=(knife.lateral_acceleration or knife.acceleration).si,
                corner_dwell=knife.corner_dwell.si,
                lift_time=knife.lift_time.si,
                travel_speed=travel,
                passes=job.cut_passes.si,
            )
            for contour in job_contours(study, job)
        ]
        columns[place] = each[0] if len(each) == 1 else _diagonal(each)
    return side_by_side(columns)


def job_contours(study: Study, job: JobType) -> tuple[Contour, ...]:
    """Return the contour of a drawn path: one, or one a scenario where its size varies."""
    cut = job.cut
    if isinstance(cut, Artwork):
        return (_artwork(study.artworks.get(cut.name) or artwork_text(cut.name), cut.name),)
    if isinstance(cut, Circle):
        return tuple(_circle(float(diameter)) for diameter in cut.diameter.si)
    if isinstance(cut, Rectangle):
        sides = np.broadcast_arrays(job.width.si, job.height.si, cut.radius.si)
        return tuple(_rectangle(*map(float, row)) for row in zip(*sides, strict=True))
    return ()


@lru_cache(maxsize=256)
def _artwork(text: str, name: str) -> Contour:
    return parse_artwork(text.encode(), name).contour


@lru_cache(maxsize=8192)
def _circle(diameter: float) -> Contour:
    return circle_contour(diameter)


@lru_cache(maxsize=8192)
def _rectangle(width: float, height: float, radius: float) -> Contour:
    return rectangle_contour(width, height, radius)


def _diagonal(each: list[FloatArray]) -> FloatArray:
    """Return scenario i of the contour of scenario i."""
    return np.array([times[min(place, times.size - 1)] for place, times in enumerate(each)])
