"""What stopwatch readings come to, in words: fitted values or why there are none, and the protocol.

May import: from capex errors, `shopfloor.trial`, units and `views.charts.picture`.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Final

from capex.errors import CapexError, InputError, NotIdentifiedError, Problem, TrialError
from capex.shopfloor.trial.calibration import Calibration, Estimate
from capex.shopfloor.trial.protocol import CAUTIONS, PROTOCOL, STAMPS, Section
from capex.units import quantity_text
from capex.views.charts.picture import Look

__all__ = [
    "answer_html",
    "error_words",
    "estimates_html",
    "into_study_html",
    "protocol_html",
    "refusal_html",
]


def error_words(error: CapexError) -> str:
    """Return why a table of readings cannot be used, as a sentence.

    Examples
    --------
    >>> error_words(TrialError("mine.csv", [Problem("file", None, "has no readings")]))
    'mine.csv has no readings.'
    """
    if isinstance(error, InputError) and error.field == "file":
        return f"{error.value} {error.bound}."
    if isinstance(error, TrialError):
        said = [_of_table(error.source, problem) for problem in error.problems]
        return "; ".join(said) + "."
    return str(error)


def _of_table(source: str, problem: Problem) -> str:
    if problem.path == "file":
        return f"{source} {problem.bound}"
    return f"{source}, {problem.path} {_value_and_bound(problem)}"


#: What the columns of the table hold, where their names do not say it.
_COLUMNS: Final = (
    ("run", "number of the repeat; run 1 of each series is set aside"),
    ("width, height", "of one piece, across the roll and along it"),
    ("pieces, across, gap", "pieces in the run, how many of them side by side, and what is free "
     "between them"),
    ("passes", "times that the carriage goes over each strip, or the knife over the path"),
    ("cut", "path, rectangle, circle or artwork; of a path also its length and its straight "
     "segments, of a rectangle the radius of its corners"),
    ("lifts", "times that the knife is lifted for one piece: separate parts of its path"),
    ("crossings", "runs of the carriage across the film, counted by eye; they tell the height of "
     "the strip that one of them prints (the swath)"),
    ("started, media still", "time of day when the clock starts, and when no film moves any more"),
    ("attended", "how long of the time somebody stood by"),
    ("spoiled", "pieces that had to be made again"),
    ("offset 1 to 4", "distance between print and cut at four corners"),
)  # fmt: skip


def estimates_html(found: Calibration, look: Look) -> str:
    """Return the fitted parameters with their intervals and the study's values, and the notes."""
    rows = "".join(
        f"<tr><th scope='row'>{escape(one.parameter.words.capitalize())}</th>"
        f"<td>{_value(one, one.value, look)}{', held at its bound' if one.is_held else ''}</td>"
        f"<td>{_value(one, one.low, look)} to {_value(one, one.high, look)}</td>"
        f"<td>{'–' if one.before is None else _value(one, one.before, look)}</td></tr>"
        for one in found.estimates
    )
    notes = "".join(f"<p class='capex-note'>{escape(note)}</p>" for note in found.notes)
    return (
        "<div class='capex-chart-table' role='region' tabindex='0' aria-label='Fitted values'>"
        "<table><thead><tr><th scope='col'>Parameter</th>"
        "<th scope='col'>Fitted</th><th scope='col'>95% interval</th>"
        f"<th scope='col'>In the study</th></tr></thead><tbody>{rows}</tbody></table></div>{notes}"
    )


def _value(one: Estimate, value: float, look: Look) -> str:
    if one.parameter.kind == "duration":  # rests are far below the minute that durations show in
        return f"{value:.3g} s"
    return escape(quantity_text(value, one.parameter.kind, look.units, digits=4))


def refusal_html(error: CapexError) -> str:
    """Return why readings do not tell the parameters, and what to time."""
    if not isinstance(error, NotIdentifiedError | TrialError):
        return f"<p class='capex-bad'>{escape(str(error))}</p>"
    items = "".join(
        f"<li><strong>{escape((problem.words or problem.path).capitalize())}</strong> "
        f"{escape(_value_and_bound(problem))}</li>"
        for problem in error.problems
    )
    return (
        f"<p><strong>Nothing is fitted: these readings do not tell it.</strong></p><ul>{items}</ul>"
    )


def answer_html(
    answer: Calibration | CapexError | None, work: str, look: Look, raised: str | None = None
) -> str:
    """Return what the readings tell of the machine, or why they do not; or how a mean is raised.

    Without `raised` no mean goes into the study.
    """
    if isinstance(answer, Calibration):
        return f"<h3>Fitted values</h3>{estimates_html(answer, look)}"
    if answer is not None:
        return f"<h3>Fitted values</h3>{refusal_html(answer)}"
    goes = "does not go into the study before it has been timed twice"
    if raised is not None:
        goes = f"goes into the study {raised or 'as it is'}"
    return (
        f"<p class='capex-note'>“{escape(work.capitalize())}” is handling, no physics: its mean "
        f"{escape(goes)}.</p>"
    )


def into_study_html(said: Sequence[str], trouble: str, refused: int, shipped: bool) -> str:
    """Return what goes into the study when it is asked for."""
    if trouble:
        return f"<h3>Into the study</h3><p class='capex-bad'>{escape(trouble)}</p>"
    if not said:
        return "<h3>Into the study</h3><p>Nothing has been measured yet.</p>"
    items = "".join(f"<li>{escape(sentence)}</li>" for sentence in said)
    left = f" {refused} refused above and left as they are." if refused else ""
    where = (
        " The demo’s own file is never written to: download the study with these values, and "
        "start capex with it."
        if shipped
        else ""
    )
    return (
        f"<h3>Into the study</h3><p>{len(said)} entries, marked “measured” and dated, with their "
        f"intervals as low and high.{left}{where}</p><details><summary>Show them</summary>"
        f"<ul>{items}</ul></details>"
    )


def protocol_html() -> str:
    """Return how a trial is run, with its cautions."""
    parts = [*PROTOCOL, Section("Stamps", STAMPS)]
    said = "".join(
        f"<h3>{escape(part.heading)}</h3><ul>"
        + "".join(f"<li>{escape(line)}</li>" for line in part.lines)
        + "</ul>"
        for part in parts
    )
    cautions = "".join(f"<li>{escape(line)}</li>" for line in CAUTIONS)
    columns = "".join(f"<li><strong>{name}</strong>: {words}.</li>" for name, words in _COLUMNS)
    return (
        f"<details><summary>How to time fairly</summary>{said}</details>"
        f"<details><summary>What the columns mean</summary><ul>{columns}</ul></details>"
        f"<ul class='capex-warn'>{cautions}</ul>"
    )


def _value_and_bound(problem: Problem) -> str:
    return problem.bound if problem.value is None else f"{problem.value} {problem.bound}"
