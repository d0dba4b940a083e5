"""An artwork for a job type: a drawing uploaded, checked at its place, and made its cut line.

May import: ipywidgets, and from capex errors, shopfloor.artwork, `views.floor` and `views.shop`.
"""

from __future__ import annotations

from html import escape
from pathlib import Path
from typing import Final

import ipywidgets as widgets

from capex.errors import ArtworkError, InputError
from capex.shopfloor.artwork import parse_artwork
from capex.units import quantity_text
from capex.views.floor.boxes import box, words
from capex.views.floor.fields import Field, Fields, FileIn
from capex.views.shop.entries import new_key
from capex.views.shop.state import ShopState

__all__ = ["ArtworkPanel"]

#: Largest drawing that is put into a study [bytes].
_LARGEST: Final = 1_000_000


class ArtworkPanel:
    """Upload of the cut line of one piece as SVG.

    Parameters
    ----------
    state : ShopState
    """

    def __init__(self, state: ShopState) -> None:
        self._state = state
        self.values = {"job": next(iter(state.study.jobs))}
        self.fields = Fields("Job type", self._listed(), self.values, state.guarded(self._chosen))
        self.take = FileIn(
            "Upload its cut line (SVG)", ".svg", state.guarded(self.taken),
            "Every shape of the drawing is cut once, at the size it is drawn; at most 1 MB.",
        )  # fmt: skip
        self.take.largest = _LARGEST
        self.said = words()

    def view(self) -> widgets.Widget:
        """Return the panel."""
        title = words("<h3>Artwork</h3>")
        return box("capex-card", title, self.fields, self.take, self.said)

    def show(self) -> None:
        """Show the job types that there are now."""
        jobs = self._state.edited.mapping.get("jobs", {})
        if self.values["job"] not in jobs:
            self.values["job"] = next(iter(jobs), "")
        self.fields.show(self.values, fields=self._listed())

    def _listed(self) -> list[Field]:
        jobs = self._state.edited.mapping.get("jobs", {})
        names = [(key, str(job.get("name", key))) for key, job in jobs.items()]
        return [Field("job", "For the job type", "choice", options=names)]

    def _chosen(self, _key: str, text: str) -> None:
        self.values["job"] = text
        self.take.say("")
        self.fields.show(self.values)

    def taken(self, name: str, body: bytes) -> None:
        """Put a drawing into the study as the cut line of the chosen job type."""
        edited, job = self._state.edited, self.values["job"]
        try:
            drawn = parse_artwork(body, name)
            text = body.decode("utf-8-sig")
        except ArtworkError as error:
            self.take.say(str(error))
            return
        except UnicodeDecodeError:
            self.take.say(f"{name}: is not UTF-8 text; save the drawing as plain SVG")
            return
        if edited.raw(f"jobs.{job}") is None:
            raise InputError("job", job, "is not a job type of the study")
        key = new_key(Path(name).stem, edited.mapping.get("artworks", {}))

        def step() -> None:
            with edited.together():
                edited.add(f"artworks.{key}", text)
                edited.put(f"jobs.{job}.cut", {"kind": "artwork", "name": key})

        self._state.change(step)
        self.take.say("")
        size = " × ".join(quantity_text(side, "length") for side in (drawn.width, drawn.height))
        length = quantity_text(drawn.contour.path_length, "length")
        self.said.value = (
            f"<p role='status'>{escape(name)}: {escape(size)}, cut line {escape(length)}, "
            f"{drawn.contour.subpath_count} closed or open lines. It is now cut for each piece of "
            "this job type; look at its width and height above.</p>"
        )
