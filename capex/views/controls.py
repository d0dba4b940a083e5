"""The controls of a page: ten inputs, units and currency, as native sliders and fields.

May import: traitlets, and from capex `views.cards`, `views.charts.picture`, `views.inputs`,
`views.machine_rates`, `views.one_way`, `views.state` and `views.unmoved`.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import traitlets

from capex.views.cards import dial_text
from capex.views.charts.picture import Look
from capex.views.inputs import Dial
from capex.views.machine_rates import (
    cut_speeds_sentence,
    print_rates_sentence,
    quoted_rates_sentence,
)
from capex.views.one_way import OneWay
from capex.views.state import DecisionState
from capex.views.unmoved import Unmoved

__all__ = ["Controls"]

STATIC: Final = Path(__file__).parent / "static"
_FARTHEST: Final = 1e15  # of a slider


class Controls(OneWay):
    """Sliders, typed values and resets over one state.

    A slider sends the newest positions only; a typed value is sent as text and read by the study's
    own rules, so that a unit may follow the number. Positions count in the unit shown, in the
    study's currency.

    Parameters
    ----------
    state : DecisionState
        What the controls change and follow.
    """

    _esm = STATIC / "controls.js"
    _css = STATIC / "controls.css"

    dials: traitlets.List[dict[str, Any]] = traitlets.List().tag(sync=True)
    positions: traitlets.Dict[str, float] = traitlets.Dict().tag(sync=True)
    changed: traitlets.List[str] = traitlets.List().tag(sync=True)
    message: traitlets.Dict[str, str] = traitlets.Dict().tag(sync=True)
    notes: traitlets.Dict[str, str] = traitlets.Dict().tag(sync=True)
    units = traitlets.Unicode().tag(sync=True)
    currency = traitlets.Unicode().tag(sync=True)
    currencies: traitlets.List[str] = traitlets.List().tag(sync=True)

    def __init__(self, state: DecisionState) -> None:
        self._state = state
        self._following = False
        self._unmoved = Unmoved(state.changes, state.result)
        super().__init__(
            units=state.units,
            currency=state.currency.code,
            currencies=list(state.currencies),
            positions=self._positions(),
            dials=self._described(),
        )
        state.observe(self._follow, ["changes", "trouble", "units", "currency"])
        state.observe(state.guarded(self._note), "result")
        self.observe(state.guarded(self._moved), "positions")
        self.observe(state.guarded(self._shown_in), ["units", "currency"])
        self.on_msg(state.guarded(self._told))

    def may_be_set(self, name: str, value: object) -> bool:
        """Return whether it is a unit or a currency that is offered, or places of the sliders."""
        if name == "positions":
            return isinstance(value, dict) and all(
                path in self._state.dials and type(place) in (int, float) and abs(place) < _FARTHEST
                for path, place in value.items()
            )
        offered = {"units": ["metric", "us_customary"], "currency": self.currencies}
        return value in offered.get(name, ())

    def _positions(self) -> dict[str, float]:
        changes = self._state.changes
        return {
            path: round(changes.get(path, dial.home) * dial.scale, 9)
            for path, dial in self._state.dials.items()
        }

    def _described(self) -> list[dict[str, Any]]:
        look = Look(self._state.study, self._state.units, self._state.currency)
        return [_description(dial, look) for dial in self._state.dials.values()]

    def _follow(self, change: Any) -> None:
        self._following = True
        try:
            with self.hold_sync():
                if change.name in {"units", "currency"}:
                    self.units = self._state.units
                    self.currency = self._state.currency.code
                    self.dials = self._described()
                elif change.name == "changes":
                    self.positions = self._positions()
                    self.changed = list(self._state.changes)
                self.message = self._message()
        finally:
            self._following = False

    def _note(self, _change: Any) -> None:
        state = self._state
        self.notes = self._unmoved.note(state.changes, state.result, state.dials)

    def _message(self) -> dict[str, str]:
        trouble = self._state.trouble
        if trouble is None or trouble.field not in self._state.dials:
            return {}
        # Beside its field the message needs no path.
        return {trouble.field: trouble.message.removeprefix(f"{trouble.field}: ")}

    def _moved(self, _change: Any) -> None:
        if self._following:
            return
        changes = dict(self._state.changes)
        shown = self._positions()
        for path, position in self.positions.items():
            if position != shown[path]:
                changes[path] = position / self._state.dials[path].scale
        self._state.change_all(changes)

    def _shown_in(self, _change: Any) -> None:
        if self._following:
            return
        self._state.units = "us_customary" if self.units == "us_customary" else "metric"
        self._state.currency = self._state.currencies[self.currency]

    def _told(self, _widget: object, content: Mapping[str, Any], _buffers: object) -> None:
        kind, path = content.get("kind"), content.get("path")
        if path is not None and (not isinstance(path, str) or path not in self._state.dials):
            return
        if kind == "typed" and path is not None:
            self._state.change_typed(path, str(content.get("text", ""))[:60])
        elif kind == "reset":
            self._state.reset(path)


def _machines(dial: Dial, look: Look) -> str:
    """Return what the dial's 100 % is on each machine, where it moves machines."""
    said = {
        "levers.print_rate": lambda: (
            f"{print_rates_sentence(look.study, look.units)} {quoted_rates_sentence(look.study)}"
        ),
        "levers.cut_speed": lambda: cut_speeds_sentence(look.study, look.units),
    }
    return f"{said[dial.path]().strip()} " if dial.path in said else ""


def _description(dial: Dial, look: Look) -> dict[str, Any]:
    low, high = dial.bounds
    spread = ""
    if dial.spread is not None:
        ends = [dial_text(dial, value, look) for value in dial.spread]
        spread = f", {ends[0]} to {ends[1]}"
    rate = look.currency.rate if dial.money else 1.0
    ends = [dial_text(dial, value / dial.scale, look) for value in (low, high)]
    reach = f"Slider from {ends[0]} to {ends[1]}; type any other value."
    return {
        "path": dial.path,
        "label": dial.label,
        "unit": dial.unit.format(currency=look.currency.code),
        "hint": f"{dial.hint} {_machines(dial, look)}{reach}",
        "study": f"{dial_text(dial, dial.home, look)}{spread} ({dial.source})",
        "low": round(low, 6),
        "high": round(high, 6),
        "step": dial.step,
        "digits": dial.digits,
        "rate": rate,
    }
