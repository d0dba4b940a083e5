"""Every error a user of capex can meet, in one tree.

::

    CapexError
    ├── InputError            one value that cannot be used: field, value, bound, unit
    │   └── UnitError         a text that is not a quantity of the expected kind
    │       └── CurrencyError an amount in another currency than the study's
    ├── StudyError            all problems of one study file together
    ├── StoreError            saved studies that cannot be read or written
    ├── OrderBookError        an order book that cannot be read at all
    ├── ArtworkError          an SVG artwork file that cannot be used
    ├── TrialError            stopwatch readings that cannot be used, all their bad rows together
    └── NoAnswerError         a well-posed question without a single answer, with the reason
        └── NotIdentifiedError  parameters that a time trial says nothing certain about

Imports nothing from the package.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

__all__ = [
    "ArtworkError",
    "CapexError",
    "CurrencyError",
    "InputError",
    "NoAnswerError",
    "NotIdentifiedError",
    "OrderBookError",
    "Problem",
    "StoreError",
    "StudyError",
    "TrialError",
    "UnitError",
]

#: Longest value and longest sentence that a message repeats [characters], and most lines in it:
#: whoever reads it wants to know what to put right first.
_VALUE: Final = 200
_SENTENCE: Final = 1000
_LINES: Final = 100
#: Longest message that names what stands in a file, such as its columns [characters].
_MESSAGE: Final = 4000


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[:most]}… ({len(text):,} characters)"


def _listed(problems: Sequence[Problem]) -> tuple[Problem, ...]:
    """Return the first hundred problems, and how many more there are."""
    rest = len(problems) - _LINES
    more = [Problem("file", None, f"has {rest:,} problems more")] if rest > 0 else []
    return (*problems[:_LINES], *more)


def _lines(head: str, problems: Sequence[Problem]) -> str:
    return "\n".join([head, *(f"  - {problem}" for problem in _listed(problems))])


class CapexError(Exception):
    """Anything a user can put right; the message is written for that user."""

    def __reduce__(self) -> tuple[object, ...]:
        """Go from one process to another as it is, whatever it was made from."""
        return _again, (type(self), self.args, vars(self))


def _again(kind: type[CapexError], args: tuple[object, ...], parts: dict[str, object]) -> object:
    error = kind.__new__(kind, *args)
    vars(error).update(parts)
    return error


class InputError(CapexError, ValueError):
    """One value that cannot be used.

    Parameters
    ----------
    field : str
        Where the value stands, for example ``machines.mid_roll_printer.printing.swath_height``.
    value : object
        What was entered.
    bound : str
        What is allowed, with its unit, for example ``must be greater than 0 mm``.
    """

    def __init__(self, field: str, value: object, bound: str) -> None:
        self.field = field
        self.value = value
        self.bound = bound
        super().__init__(
            f"{_cut(field, _VALUE)}: {_cut(repr(value), _VALUE)} {_cut(bound, _SENTENCE)}"
        )


class UnitError(InputError):
    """A text that is not a quantity of the expected kind."""


class CurrencyError(UnitError):
    """An amount in another currency than the study's."""


@dataclass(frozen=True)
class Problem:
    """One thing wrong with a study.

    Parameters
    ----------
    path : str
        Where it stands in the file.
    value : object
        What was entered; None where nothing was.
    bound : str
        What is allowed, with its unit.
    words : str
        The place in the words of a person, where they say more than the path.

    Examples
    --------
    >>> print(Problem("shop.seasonality.3", -1, "must be at least 0", "April"))
    shop.seasonality.3 (April): -1 must be at least 0
    """

    path: str
    value: object
    bound: str
    words: str = ""

    @property
    def place(self) -> str:
        """Where it stands as a person calls it, never as a path."""
        return self.words or self.path.replace("_", " ").replace(".", ", ")

    @property
    def shown(self) -> str:
        """What was entered, as far as it is worth repeating; empty where nothing was."""
        return "" if self.value is None else _cut(repr(self.value), _VALUE)

    def __str__(self) -> str:
        path = _cut(self.path, _VALUE)
        place = f"{path} ({_cut(self.words, _VALUE)})" if self.words else path
        bound = _cut(self.bound, _SENTENCE)
        return f"{place}: {self.shown} {bound}" if self.shown else f"{place}: {bound}"


class StudyError(CapexError):
    """All problems of one study, reported together.

    Parameters
    ----------
    source : str
        Where the study came from.
    problems : sequence of Problem
        In the order of the file.
    """

    def __init__(self, source: str, problems: Sequence[Problem]) -> None:
        self.source = source
        self.problems = tuple(problems)
        count = len(self.problems)
        head = f"{source}: {count} problem{'s' if count != 1 else ''}"
        super().__init__(_lines(head, self.problems))

    @property
    def said(self) -> str:
        """All problems in one line for a page: places in words, and not which file it is."""
        found = (" ".join(filter(None, (f"{each.place}:", each.shown, each.bound)))
                 for each in self.listed)  # fmt: skip
        return "; ".join(_cut(each, _SENTENCE) for each in found)

    @property
    def listed(self) -> tuple[Problem, ...]:
        """The problems that a person is shown at once: the first hundred, and how many more."""
        return _listed(self.problems)


class StoreError(CapexError):
    """Saved studies that cannot be read or written; the message says what is safe."""


class OrderBookError(CapexError):
    """An order book that cannot be read at all; single bad rows are listed, not raised."""

    def __init__(self, message: str) -> None:
        super().__init__(_cut(message, _MESSAGE))


class ArtworkError(CapexError):
    """An SVG artwork file that cannot be used, with the file and the reason."""


class NoAnswerError(CapexError):
    """A question that has no single answer, for example a rate of return without sign change."""


class TrialError(CapexError):
    """Stopwatch readings that cannot be used.

    Parameters
    ----------
    source : str
        Where the readings came from.
    problems : sequence of Problem
        In the order of the rows.
    """

    def __init__(self, source: str, problems: Sequence[Problem]) -> None:
        self.source = source
        self.problems = tuple(problems)
        super().__init__(_lines(f"{source}:", self.problems))


class NotIdentifiedError(NoAnswerError):
    """Parameters that a time trial says nothing certain about, and what to time to find them.

    Parameters
    ----------
    trial : str
        Machine and work.
    problems : sequence of Problem
        One a parameter: its name, and the reason with what to time.
    """

    def __init__(self, trial: str, problems: Sequence[Problem]) -> None:
        self.trial = trial
        self.problems = tuple(problems)
        super().__init__(_lines(f"{trial}:", self.problems))
