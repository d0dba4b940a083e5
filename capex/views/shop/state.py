"""The state of the page: the text being edited, the last good result, and who follows.

May import: traitlets, and from capex decision, study, `views.floor.state`, `views.page_state` and
`views.shop.study_text`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import traitlets

from capex.decision.appraise import Appraisal, appraise
from capex.decision.swings import Swings, swings
from capex.decision.verdict import Verdict, verdict
from capex.errors import CapexError, InputError
from capex.study import Study
from capex.views.floor.state import Background, Later
from capex.views.guard import Trouble
from capex.views.page_state import PageState
from capex.views.shop.study_text import StudyText

__all__ = ["Found", "ShopState"]

#: Rest after the last change before the study is appraised [s].
_REST: Final = 0.4


@dataclass(frozen=True)
class Found:
    """What a study comes to: the ranking, and what moves it.

    Parameters
    ----------
    study : Study
    appraisal : Appraisal
    verdict : Verdict
    swings : Swings
        The most influential input first.
    """

    study: Study
    appraisal: Appraisal
    verdict: Verdict
    swings: Swings


class ShopState(PageState):
    """A study being edited.

    Parameters
    ----------
    edited : StudyText
    later : callable, optional
        Takes the appraisal; by default it has a thread of its own.

    Examples
    --------
    >>> from capex.study import StudyFile, data_folder
    >>> text = StudyFile.read(data_folder() / "studies" / "quenlow.toml").text
    >>> state = ShopState(StudyText(text), later=lambda work, done: done(work))
    >>> best = state.found.verdict.best
    >>> state.change(lambda: state.edited.set("machines.mid_all_in_one.price", "900000"))
    >>> state.revision, state.found.verdict.best == best
    (1, False)
    """

    revision = traitlets.Int(0)
    #: What the last button of a form did.
    said = traitlets.Unicode("")
    found: traitlets.Instance[Found | None] = traitlets.Instance(Found, allow_none=True)

    def __init__(self, edited: StudyText, later: Later | None = None) -> None:
        super().__init__(edited.study)
        self.edited = edited
        self._later = later or Background(_REST)
        self._work_out()

    @property
    def working(self) -> bool:
        """Whether the verdict shown is of an earlier study."""
        return self.found is None or self.found.study is not self.study

    def change(self, step: Callable[[], object]) -> None:
        """Make a change of the text, and show what then holds.

        Raises
        ------
        CapexError
            The change cannot be made; the text stays as it was.
        """
        step()
        self.said = ""
        before, self.study = self.study, self.edited.study
        if before is not self.study:
            self._work_out()
        self.revision += 1

    def _work_out(self) -> None:
        study = self.study

        def work() -> Found:
            appraisal = appraise(study)
            return Found(study, appraisal, verdict(appraisal), swings(study))

        self._later(work, self._take)

    def _take(self, result: Callable[[], Found]) -> None:
        @self.watched
        def take() -> None:
            self.found = result()

        take()

    def say(self, error: CapexError) -> None:
        """Show an error that belongs to no field."""
        self.trouble = Trouble(str(error), error.field if isinstance(error, InputError) else None)
