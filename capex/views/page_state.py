"""What the state of every page has: units, currency, trouble, and how views follow it.

May import: traitlets, and from capex study, units, `views.guard` and `views.wording`.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

import traitlets

from capex.study import Study
from capex.units import UnitSystem
from capex.views.guard import Guard, Trouble
from capex.views.wording import Currency

__all__ = ["PageState"]


class PageState(traitlets.HasTraits):
    """A page's state over one study.

    Parameters
    ----------
    study : Study
        Its currency is the one that the page begins with.
    """

    study: Any
    trouble: traitlets.Instance[Trouble | None] = traitlets.Instance(Trouble, allow_none=True)
    units: traitlets.Enum[UnitSystem] = traitlets.Enum(["metric", "us_customary"], "metric")
    currency = traitlets.Instance(Currency)

    def __init__(self, study: Study) -> None:
        self._guard = Guard(self._troubled)
        super().__init__(currency=Currency(study.currency))
        self.study = study

    @property
    def currencies(self) -> dict[str, Currency]:
        """Currencies that can be shown: the study's own and those that it gives a rate for."""
        known = {self.study.currency: Currency(self.study.currency)}
        for code, rate in self.study.money.exchange_rates.items():
            known[code] = Currency(code, rate.likely)
        return known

    def guarded(self, callback: Callable[..., object]) -> Callable[..., None]:
        """Return what answers the user: its failure is shown in the place of an earlier one."""
        watched = self.watched(callback)

        @wraps(callback)
        def answer(*told: Any) -> None:
            self.trouble = None
            watched(*told)

        return answer

    def watched(self, callback: Callable[..., object]) -> Callable[..., None]:
        """Return work that nobody waits for: its failure is shown, its success hides none."""
        return self._guard(callback)

    def follow(self, callback: Callable[[], object], *names: str) -> None:
        """Call back when one of the named traits changes, and once now."""
        self.observe(self.watched(lambda _change: callback()), list(names))
        callback()

    def _troubled(self, found: Trouble) -> None:
        self.trouble = found
