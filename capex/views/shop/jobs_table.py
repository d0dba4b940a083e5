"""The job mix as a table: one row a job type, cells as typed, rows of a spreadsheet pasted.

May import: from capex `views.floor.fields` and `views.shop`.
"""

from __future__ import annotations

from typing import Final

from capex.views.floor.fields import Column, Grid
from capex.views.shop.entries import new_key, new_name
from capex.views.shop.forms import field, form_values
from capex.views.shop.slots import labelled, spoken
from capex.views.shop.state import ShopState

__all__ = ["JobsTable"]

#: Columns and the width of their fields.
_COLUMNS: Final = {
    "name": "11rem", "orders_per_month": "5rem", "pieces_per_order": "5rem", "width": "5rem",
    "height": "5rem", "film": "11rem", "passes": "4rem", "laminate": "11rem", "laminated": "5rem",
    "weeding_time": "5.5rem", "price": "5.5rem", "bought_in_price": "5.5rem", "growth": "5rem",
}  # fmt: skip


class JobsTable:
    """The table over the job types of a study's text.

    Parameters
    ----------
    state : ShopState
    """

    def __init__(self, state: ShopState) -> None:
        self._state = state
        self._words: dict[str, dict[str, str]] = {}  # of each choice, its value by its words
        self._blank = 0  # rows at the end that are no job type yet
        self.grid = Grid("Job types", state.guarded(self._changed), corner="Row", growing=True)

    def show(self) -> None:
        """Show what holds now."""
        edited, keys = self._state.edited, self._keys
        fields = {
            name: field(edited, f"jobs.{keys[0] if keys else 'new'}.{name}") for name in _COLUMNS
        }
        self._words = {
            name: {words.casefold(): value for value, words in spec["options"]}
            for name, spec in fields.items()
            if spec["kind"] == "choice"
        }
        columns = [
            Column(spoken(name), width, numeric=name not in ("name", *self._words),
                   options=self._options(name, fields[name]["options"]))
            for name, width in _COLUMNS.items()
        ]  # fmt: skip
        cells = [[self._texts(key)[name] for name in _COLUMNS] for key in keys]
        cells += [[""] * len(_COLUMNS)] * self._blank
        heads = [str(k + 1) for k in range(len(cells))]
        self.grid.show(columns, heads, cells, self._messages(keys))

    @property
    def _keys(self) -> list[str]:
        return list(self._state.edited.mapping.get("jobs", {}))

    def _options(self, name: str, options: list[tuple[str, str]]) -> list[tuple[str, str]]:
        if name not in self._words:
            return []
        return [("", "none"), *((value, words) for value, words in options if value)]

    def _texts(self, key: str) -> dict[str, str]:
        paths = {name: f"jobs.{key}.{name}" for name in _COLUMNS}
        values = form_values(self._state.edited, list(paths.values()))
        return {name: values[path]["text"] for name, path in paths.items()}

    def _messages(self, keys: list[str]) -> dict[str, str]:
        """Return problems by cell; those of fields that have no column stand at their row."""
        found: dict[str, list[str]] = {}
        names = list(_COLUMNS)
        for problem in self._state.edited.problems:
            way = problem.path.split(".")
            if way[0] != "jobs" or len(way) < 2 or way[1] not in keys:
                continue
            row, name = keys.index(way[1]), way[2] if len(way) > 2 else ""
            if name in _COLUMNS:
                found.setdefault(f"{row}.{names.index(name)}", []).append(
                    f"{spoken(name)} {labelled(problem.bound)}"
                )
            else:
                inside = spoken(" ".join(way[2:])) if name else ""
                found.setdefault(str(row), []).append(f"{inside} {labelled(problem.bound)}".strip())
        return {place: "; ".join(said) for place, said in found.items()}

    def _changed(self, cells: list[list[str]]) -> None:
        self._state.change(lambda: self._take(cells))

    def _take(self, cells: list[list[str]]) -> None:
        edited, keys = self._state.edited, self._keys
        new = [row for row in cells[len(keys) :] if any(text.strip() for text in row)]
        self._blank = len(cells) - len(keys) - len(new)
        with edited.together():
            for key, row in zip(keys, cells, strict=False):
                shown = self._texts(key)
                for name, text in zip(_COLUMNS, row, strict=True):
                    if self._meant(name, text) != shown[name]:
                        edited.set(f"jobs.{key}.{name}", self._meant(name, text))
            for row in new:
                there = edited.mapping.get("jobs", {})
                name = row[0].strip() or new_name("New job type", there)
                key = new_key(name, there)
                edited.add(f"jobs.{key}", {"name": name})
                for column, text in zip(list(_COLUMNS)[1:], row[1:], strict=True):
                    if text.strip():
                        edited.set(f"jobs.{key}.{column}", self._meant(column, text))

    def _meant(self, name: str, text: str) -> str:
        """Return a pasted name of a film as its key; whatever is not known stays as it is."""
        return self._words.get(name, {}).get(text.strip().casefold(), text)
