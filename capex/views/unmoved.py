"""Whether a control that was moved changes anything that is shown, and why it may not.

May import: from capex `views.charts.stages`, `views.inputs`, `views.state` and `views.wording`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from capex.views.charts.stages import short_lines
from capex.views.inputs import Dial
from capex.views.state import Result
from capex.views.wording import Currency, money_text

__all__ = ["Unmoved"]

#: What moves times only.
_SPEEDS: Final = ("levers.print_rate", "levers.cut_speed")


class Unmoved:
    """Compares what is shown with what was shown before a control was first moved.

    Parameters
    ----------
    changes : mapping of str to float
        As the page begins.
    result : Result
        Its result.
    """

    def __init__(self, changes: Mapping[str, float], result: Result) -> None:
        self._changes, self._result = dict(changes), result
        self._path, self._before = "", result

    def note(
        self, changes: Mapping[str, float], result: Result, dials: Mapping[str, Dial]
    ) -> dict[str, str]:
        """Return what to say at the control that was moved last; empty where it moved something.

        Parameters
        ----------
        changes : mapping of str to float
            As they are now.
        result : Result
            What they come to.
        dials : mapping of str to Dial
            By path.
        """
        both = {*changes, *self._changes}
        moved = [path for path in both if changes.get(path) != self._changes.get(path)]
        if len(moved) == 1 and moved[0] != self._path:
            self._path, self._before = moved[0], self._result
        elif len(moved) > 1:
            self._path = ""
        self._changes, self._result = dict(changes), result
        path = self._path
        if path not in changes or path not in dials or _shown(result) != _shown(self._before):
            return {}
        said = (
            f"{dials[path].label} hardly matters here: what each choice leaves and its fullest "
            "station stay as they were."
        )
        if path in _SPEEDS and not _short_of_hours(result):
            said += (
                " No choice is short of hours in any month, so that time saved or lost is no money."
            )
        short, known = short_lines(result)
        if path == "levers.cut_speed" and short:
            said += (
                f" In {short} of {known} job types the cut lines are too short for the knives to "
                "reach their set speed."
            )
        return {path: said}


def _short_of_hours(result: Result) -> bool:
    """Return whether an hour more of anything would earn something in any choice."""
    paths = [outcome.details for outcome in result.appraisal.outcomes.values()]
    return any(path is None or bool((path.output.worth[0] > 0).any()) for path in paths)


def _shown(result: Result) -> list[tuple[str, str, int]]:
    """Return what a card shows of every choice: its money, and its fullest station."""
    currency = Currency(result.study.currency)
    return [
        (
            money_text(float(outcome.gain[0]), currency),
            f"{float(outcome.load[0].max()):.0%}",
            int(outcome.tightest_station[0]),
        )
        for outcome in result.appraisal.outcomes.values()
    ]
