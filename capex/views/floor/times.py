"""Times in words for the shop floor page.

Imports nothing from the package.
"""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["clock_text", "in_steps_of", "time_text"]


def time_text(seconds: float) -> str:
    """Return a time for reading.

    Examples
    --------
    >>> time_text(8.32), time_text(83.2), time_text(90600.0), time_text(800000.0)
    ('8.3 s', '1:23 min', '25 h 10 min', '222 h')
    """
    if seconds < 60:
        return f"{seconds:.1f} s"
    whole = round(seconds)
    if whole < 600:
        return f"{whole // 60}:{whole % 60:02d} min"
    minutes = round(seconds / 60)
    if minutes < 60:
        return f"{minutes} min"
    if minutes < 100 * 60:
        return f"{minutes // 60} h {minutes % 60:02d} min"
    return f"{minutes / 60:.0f} h"


def in_steps_of(step: float) -> Callable[[float], str]:
    """Return how the times of one picture are written: all in minutes, or in hours and minutes.

    Parameters
    ----------
    step : float
        What they are rounded to: 60 s, or 6 s for tenths of a minute.

    Examples
    --------
    >>> in_steps_of(6.0)(4512.0), in_steps_of(60.0)(4512.0), in_steps_of(60.0)(150.0)
    ('75.2 min', '1 h 15 min', '2 min')
    """

    def minutes_text(seconds: float) -> str:
        if step < 60.0:
            return f"{seconds / 60.0:.1f} min"
        minutes = round(seconds / 60.0)
        if minutes < 60:
            return f"{minutes} min"
        return f"{minutes // 60} h {minutes % 60:02d} min"

    return minutes_text


def clock_text(seconds: float) -> str:
    """Return a time since a start as hours and minutes.

    Examples
    --------
    >>> clock_text(0.0), clock_text(5430.0), clock_text(90000.0)
    ('0:00', '1:30', '25:00')
    """
    minutes = int(seconds / 60 + 1e-6)
    return f"{minutes // 60}:{minutes % 60:02d}"
