"""What the commands share: a study and its changes, entries as TOML reads them, plain tables.

Imports typer and rich; `capex.study` late.
"""

from __future__ import annotations

import contextlib
import errno
import os
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final, TextIO

import typer
from rich import box
from rich.console import Console, ConsoleOptions, RenderResult
from rich.markup import escape
from rich.measure import Measurement
from rich.table import Table
from rich.text import Text

from capex.errors import InputError

if TYPE_CHECKING:
    from capex.study import StudyFile

__all__ = [
    "AsJson",
    "Changes",
    "StudyPath",
    "figures_table",
    "folded_path",
    "print_error",
    "print_side_by_side",
    "print_text",
    "study_file",
    "unwritten",
    "write",
]

#: Columns of a terminal that the names of the figures, and one alternative, need.
_LABEL, _ALTERNATIVE = 17, 15

#: Why an output takes no more: disk or quota full, file too large, device failed, closed.
_UNWRITABLE: Final = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EBADF}

StudyPath = Annotated[Path, typer.Argument(help="Study file (TOML).")]
Changes = Annotated[
    list[str] | None,
    typer.Option(
        "--set", metavar="PATH=VALUE", help="Replace an entry: shop.people.wage='25 USD/h'."
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON instead of a table.")]


def study_file(path: Path, changes: list[str] | None = None) -> StudyFile:
    """Return a study as read, with entries replaced as ``--set`` says."""
    from capex.study import StudyFile

    file = StudyFile.read(path)
    wanted: dict[str, object] = {}
    for change in changes or ():
        name, equals, value = change.partition("=")
        if not equals or not name.strip():
            raise InputError("--set", change, "must be PATH=VALUE")
        wanted[name.strip()] = _entry(value.strip())
    return file.changed(wanted) if wanted else file


def _entry(text: str) -> object:
    """Return a value as TOML reads it, or the text itself where it is not TOML."""
    import tomllib

    try:
        found = tomllib.loads(f"value = {text}")
    except tomllib.TOMLDecodeError:
        return text
    return found["value"] if len(found) == 1 else text


def figures_table(headings: tuple[str, ...], rows: list[tuple[str, ...]]) -> Table:
    """Return a table whose last column is a figure."""
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    for heading in headings[:-1]:
        table.add_column(heading, overflow="fold")
    table.add_column(headings[-1], justify="right")
    for row in rows:
        first, *others = row
        table.add_row(_Folded(first), *(escape(cell) for cell in others))
    return table


class _Folded:
    """A cell whose paths go on to the next line at a dot, or at an underscore of a long name."""

    def __init__(self, text: str) -> None:
        self.text = text

    def __rich_measure__(self, console: Console, options: ConsoleOptions) -> Measurement:
        return Text(self.text).__rich_measure__(console, options)

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        lines = (folded_path(line, options.max_width) for line in self.text.split("\n"))
        yield Text("\n".join(lines), overflow="fold")


def folded_path(path: str, width: int) -> str:
    r"""Return a path in lines of a width; a text of several words stays as it is.

    Parameters
    ----------
    path : str
    width : int
        Characters of a line; only a word longer than it stands in a longer one.

    Examples
    --------
    >>> folded_path("shop.hours.hours_per_day", 22).split("\n")
    ['shop.hours', '.hours_per_day']
    """
    if " " in path or len(path) <= width:
        return path
    lines = [""]
    for name in re.split(r"(?=\.)", path):
        if lines[-1] and len(lines[-1]) + len(name) > width:
            lines.append("")
        for part in [name] if len(name) <= width else re.split(r"(?<=_)", name):
            if lines[-1] and len(lines[-1]) + len(part) > width:
                lines.append("")
            lines[-1] += part
    return "\n".join(lines)


def print_side_by_side(
    headings: tuple[str, ...],
    rows: list[tuple[str, ...]],
    console: Console,
    widths: tuple[int, int] = (_LABEL, _ALTERNATIVE),
) -> None:
    """Print a column an alternative, its name on top, as many beside each other as have room."""
    label, alternative = widths
    across = max(1, (console.width - label) // alternative)
    for start in range(0, len(rows), across):
        console.print(_side_by_side(headings, rows[start : start + across], alternative - 3))


def _side_by_side(headings: tuple[str, ...], rows: list[tuple[str, ...]], least: int) -> Table:
    """Return a table with a column an alternative and a line a figure."""
    (title, *names), *lines = zip(headings, *rows, strict=True)
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    table.add_column(title, no_wrap=True)
    for name in names:
        table.add_column(escape(name), justify="right", vertical="bottom", min_width=least)
    for name, *cells in lines:
        table.add_row(name, *(escape(cell) for cell in cells))
    return table


def write(changed: StudyFile, into: Path, save: Path | None, console: Console) -> None:
    """Write a changed study; where it takes the old one's place, a copy of that is kept."""
    from capex.study.whole_file import write_whole

    if save is None:
        before = into.with_name(f"{into.name}.before")
        try:
            write_whole(before, into.read_bytes())
        except OSError as error:
            reason = f"cannot be written: {error.strerror}; --save names another place"
            raise InputError("study", str(before), reason) from None
        console.print(escape(f"The study as it was is kept in {before}."))
    changed.write(save or into)
    console.print(escape(f"Written to {save or into}."))


def print_text(text: str, end: str = "\n") -> None:
    """Print a text as it stands, without markup."""
    if sys.stdout is None:  # closed by who started the command
        raise OSError(errno.EBADF, os.strerror(errno.EBADF))
    sys.stdout.write(text + end)


def print_error(text: str) -> None:
    """Print a message to the terminal in red."""
    Console(stderr=True).print(escape(text), style="red", soft_wrap=True)


def unwritten(error: OSError) -> int:
    """Return the exit code once it is said what could not be written; a closed pipe says nothing.

    Parameters
    ----------
    error : OSError
        Of writing to the output; any other one is raised again.
    """
    closed = isinstance(error, BrokenPipeError)
    if not closed and (error.filename is not None or error.errno not in _UNWRITABLE):
        raise error
    _drop(sys.stdout)
    if closed:
        return 1
    try:
        print_error(f"cannot write what was asked for: {error.strerror}")
    except OSError:  # messages go to the same full disk
        _drop(sys.stderr)
    return 2


def _drop(stream: TextIO | None) -> None:
    """Lead what a stream still holds nowhere, so that Python can end without a word about it."""
    if stream is None:
        return
    with contextlib.suppress(OSError, ValueError):  # a stream that is no file
        number = stream.fileno()
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, number)
        os.close(nowhere)
