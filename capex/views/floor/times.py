"""Times in words for the shop floor page.

Imports nothing from the package.
"""

from __future__ import annotations

__all__ = ["clock_text", "time_text"]


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


def clock_text(seconds: float) -> str:
    """Return a time since a start as hours and minutes.

    Examples
    --------
    >>> clock_text(0.0), clock_text(5430.0), clock_text(90000.0)
    ('0:00', '1:30', '25:00')
    """
    minutes = int(seconds / 60 + 1e-6)
    return f"{minutes // 60}:{minutes % 60:02d}"
