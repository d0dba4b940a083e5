"""What all sections of the shop floor page share: the study, units, currency, and trouble.

May import: traitlets, and from capex errors, units, study, `views.charts.picture`, `views.guard`
and `views.wording`.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any, Final, Protocol, TypeVar

import traitlets

from capex.study import Study, StudyFile, data_folder
from capex.units import UnitSystem
from capex.views.charts.picture import Look
from capex.views.guard import Guard, Trouble
from capex.views.wording import Currency

__all__ = ["Background", "FloorState", "Later"]

T = TypeVar("T")
#: Rest after the last change before the work begins [s].
_REST: Final = 0.25


class Later(Protocol):
    """Takes work and what to do with its result."""

    def __call__(self, work: Callable[[], T], done: Callable[[Callable[[], T]], None]) -> None:
        """Work, and hand over what returns its result or raises its failure."""


class Background:
    """Runs the newest work in a thread of its own, so that the page answers meanwhile.

    The result is handed over in the page's own loop; that of work which newer work has replaced
    is dropped. Where no loop runs the work is done at once.

    Examples
    --------
    >>> with ThreadPoolExecutor(1) as elsewhere:  # where no loop runs
    ...     told = elsewhere.submit(Background(), lambda: 2 + 2, lambda found: print(found()))
    4
    """

    def __init__(self, rest: float = _REST) -> None:
        self._rest = rest
        self._thread: ThreadPoolExecutor | None = None
        self._handle: asyncio.TimerHandle | None = None
        self._newest: object = None

    def __call__(self, work: Callable[[], T], done: Callable[[Callable[[], T]], None]) -> None:
        """Do the work once nothing newer has come for a moment."""
        ticket = self._newest = object()
        if self._handle is not None:
            self._handle.cancel()
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            done(work)
            return
        self._thread = self._thread or ThreadPoolExecutor(1)
        thread = self._thread

        def finished(future: Future[T]) -> None:
            if ticket is self._newest:
                done(future.result)

        def begin() -> None:
            future = thread.submit(work)
            future.add_done_callback(lambda f: loop.call_soon_threadsafe(finished, f))

        self._handle = loop.call_later(self._rest, begin)


class FloorState(traitlets.HasTraits):
    """The study of the page and how it is shown.

    Parameters
    ----------
    file : StudyFile
        As read.
    path : Path
        Where it was read from.

    Examples
    --------
    >>> from capex.study import StudyFile, data_folder
    >>> path = data_folder() / "studies" / "quenlow.toml"
    >>> state = FloorState(StudyFile.read(path), path)
    >>> state.units, list(state.currencies), state.is_shipped
    ('metric', ['USD', 'EUR', 'GBP'], True)
    """

    study: traitlets.Instance[Study] = traitlets.Instance(Study)
    trouble: traitlets.Instance[Trouble | None] = traitlets.Instance(Trouble, allow_none=True)
    units: traitlets.Enum[UnitSystem] = traitlets.Enum(["metric", "us_customary"], "metric")
    currency = traitlets.Instance(Currency)

    def __init__(self, file: StudyFile, path: Path) -> None:
        self.file = file
        self.path = path
        self._guard = Guard(self._troubled)
        super().__init__(study=file.study, currency=Currency(file.study.currency))

    @property
    def look(self) -> Look:
        """How the page wants its charts."""
        return Look(self.study, self.units, self.currency)

    @property
    def currencies(self) -> dict[str, Currency]:
        """Currencies that can be shown: the study's own and those that it gives a rate for."""
        known = {self.study.currency: Currency(self.study.currency)}
        for code, rate in self.study.money.exchange_rates.items():
            known[code] = Currency(code, rate.likely)
        return known

    @property
    def is_shipped(self) -> bool:
        """Whether the file is one of the package's own, which nothing writes to."""
        return data_folder().resolve() in self.path.resolve().parents

    def take(self, file: StudyFile) -> None:
        """Go on with a changed study."""
        self.file = file
        self.study = file.study

    def guarded(self, callback: Callable[..., object]) -> Callable[..., None]:
        """Return a callback whose failure is shown on the page."""
        return self._guard(callback)

    def follow(self, callback: Callable[[], object], *names: str) -> None:
        """Call back when one of the named traits changes, and once now."""

        @self._guard
        def changed(_change: Any) -> None:
            callback()

        self.observe(changed, list(names))
        callback()

    def _troubled(self, found: Trouble | None) -> None:
        self.trouble = found
