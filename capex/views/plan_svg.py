"""The plan of a room as a picture to scale: SVG text, seen from above, the near wall below.

Hatching tells the service clearances apart, so that no meaning hangs on a colour; colours are the
page's own, light or dark. Every text that comes from a user is escaped.

May import: from capex errors, units, `shopfloor.plan`, and `plan_marks`.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final
from zlib import crc32

from capex.shopfloor.plan.floor_plan import FloorPlan
from capex.shopfloor.plan.spots import Spot
from capex.units import UnitSystem, quantity_text
from capex.views.plan_marks import (
    Canvas,
    dimension_marks,
    door_marks,
    fitted_label,
    hatches,
    label,
    rectangle,
    scale_bar,
)

__all__ = ["plan_svg"]

_SPAN: Final = 1000.0  # longer side of the room, in units of the drawing
_FONT: Final = 36.0
_LINE: Final = 50.0

_STYLE: Final = """
.capex-plan-svg { width: 100%; height: auto; font-family: inherit; }
.capex-plan-svg text { fill: var(--capex-ink, #1a2129); font-size: 36px; }
.capex-plan-svg .p-halo { paint-order: stroke; stroke: var(--capex-surface, #fff);
  stroke-width: 7px; stroke-linejoin: round; }
.capex-plan-svg .p-fine { font-size: 28px; }
.capex-plan-svg .p-small { fill: var(--capex-muted, #4d5863); }
.capex-plan-svg .p-strong { font-weight: 650; }
.capex-plan-svg .p-floor { fill: var(--capex-surface, #fff); }
.capex-plan-svg .p-wall { fill: none; stroke: var(--capex-ink, #1a2129); stroke-width: 9px; }
.capex-plan-svg .p-gap { stroke: var(--capex-surface, #fff); stroke-width: 11px; }
.capex-plan-svg .p-line { fill: none; stroke: var(--capex-ink, #1a2129); stroke-width: 2.5px; }
.capex-plan-svg .p-thin { fill: none; stroke: var(--capex-muted, #4d5863); stroke-width: 2px; }
.capex-plan-svg .p-arc { fill: none; stroke: var(--capex-muted, #4d5863); stroke-width: 2px;
  stroke-dasharray: 9 6; }
.capex-plan-svg .p-hatch { stroke: var(--capex-muted, #4d5863); stroke-width: 1.6px; fill: none; }
.capex-plan-svg .p-dot { fill: var(--capex-muted, #4d5863); }
.capex-plan-svg .p-envelope { stroke: var(--capex-muted, #4d5863); stroke-width: 2px;
  stroke-dasharray: 12 7; }
.capex-plan-svg .p-machine { fill: var(--capex-surface, #fff); stroke: var(--capex-ink, #1a2129);
  stroke-width: 3.5px; }
.capex-plan-svg .p-front { stroke: var(--capex-accent, #0f5c6e); stroke-width: 9px; }
.capex-plan-svg .p-arrow { fill: var(--capex-accent, #0f5c6e); }
.capex-plan-svg .p-fails { fill: none; stroke: var(--capex-bad, #a32020); stroke-width: 8px;
  stroke-dasharray: 22 9; }
.capex-plan-svg .p-bad { fill: var(--capex-bad, #a32020); font-weight: 700; }
.capex-plan-svg .p-solid { fill: var(--capex-ink, #1a2129); }
.capex-plan-svg .p-fixture { fill: var(--capex-line, #c9cfd4); stroke: var(--capex-ink, #1a2129);
  stroke-width: 2px; }
.capex-plan-svg .p-space { stroke: var(--capex-warn, #7a4d00); stroke-width: 3px;
  stroke-dasharray: 4 5; }
.capex-plan-svg .p-space-line { stroke: var(--capex-warn, #7a4d00); stroke-width: 2px; fill: none; }
.capex-plan-svg .p-way { fill: var(--capex-accent, #0f5c6e); fill-opacity: .09;
  fill-rule: evenodd; stroke: var(--capex-accent, #0f5c6e); stroke-width: 1.5px;
  stroke-dasharray: 2 6; stroke-opacity: .8; }
"""


def plan_svg(plan: FloorPlan, system: UnitSystem = "metric") -> str:
    """Return the plan of a room as an SVG element that fits any width.

    Parameters
    ----------
    plan : FloorPlan
    system : {"metric", "us_customary"}
        Of the figures and the scale bar.

    Returns
    -------
    str
        With a title and a description for those who cannot see it.

    Examples
    --------
    >>> from capex.shopfloor.plan import floor_plan
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> picture = plan_svg(floor_plan(study, "separate"))
    >>> picture.startswith("<svg"), "Mid roll printer" in picture
    (True, True)
    """
    mark = f"plan-{crc32(plan.alternative.encode()):08x}"
    canvas = _canvas(plan)
    key = [*_key_entries(plan, system, mark)]
    top = canvas.height
    height = top + _LINE * (len(key) + 2.1)
    lines = [
        f'<svg class="capex-plan-svg" xmlns="http://www.w3.org/2000/svg" role="img" '
        f'viewBox="0 0 {canvas.width:.0f} {height:.0f}" aria-labelledby="{mark}-t {mark}-d">',
        f'<title id="{mark}-t">{canvas.escaped(_title(plan))}</title>',
        f'<desc id="{mark}-d">{canvas.escaped(_description(plan, system))}</desc>',
        f"<style>{_STYLE}</style><defs>{hatches(mark)}</defs>",
        *_room_marks(plan, canvas, mark),
        *(line for k, spot in enumerate(plan.spots) for line in _envelope(spot, k, canvas, mark)),
        *_fixture_marks(plan, canvas),
        *_machine_marks(plan, canvas),
        *dimension_marks(plan.room, canvas, system),
        scale_bar(canvas, system, canvas.left, top + _LINE * 0.9),
        *(
            f'<g transform="translate({canvas.left:.0f} {y:.0f})">{entry}</g>'
            for y, entry in zip(_rows(top, len(key)), key, strict=True)
        ),
        "</svg>",
    ]
    return "\n".join(lines)


def _rows(top: float, count: int) -> list[float]:
    return [top + _LINE * (k + 2.3) for k in range(count)]


def _canvas(plan: FloorPlan) -> Canvas:
    room = plan.room
    scale = _SPAN / max(room.width, room.depth)
    # Dimension lines stand above and to the right; beyond every wall its doors and their names.
    margins = {"near": 0.8 * _FONT, "far": 1.6 * _FONT, "left": 0.8 * _FONT, "right": 1.6 * _FONT}
    for wall in margins:
        doors = [door for door in room.doors if door.wall == wall]
        swept = [door.width * scale for door in doors if door.opens == "out"]
        margins[wall] += (1.2 * _FONT if doors else 0.0) + max(swept, default=0.0)
    spots = [spot.envelope for spot in plan.spots]
    beyond = {
        "near": max((-box[1] for box in spots), default=0.0),
        "far": max((box[3] - room.depth for box in spots), default=0.0),
        "left": max((-box[0] for box in spots), default=0.0),
        "right": max((box[2] - room.width for box in spots), default=0.0),
    }
    most = {wall: max(margins[wall], beyond[wall] * scale + 8) for wall in margins}
    return Canvas(scale, room.width, room.depth, **most)


def _title(plan: FloorPlan) -> str:
    return f"Plan of the room: {plan.alternative}"


def _description(plan: FloorPlan, system: UnitSystem) -> str:
    def length(value: float) -> str:
        return quantity_text(value, "length", system, digits=3)

    room = plan.room
    told = [f"Seen from above, {length(room.width)} wide and {length(room.depth)} deep."]
    told += [
        f"{spot.name}, {length(spot.size.length)} by {length(spot.size.depth)}, stands "
        f"{length(spot.left)} from the left wall and {length(spot.near)} from the near wall; its "
        f"front looks to the {spot.facing} wall."
        for spot in plan.spots
    ]
    told += [f"{door.name} is in the {door.wall} wall." for door in room.doors]
    told += [f"{panel.name} needs a clear working space." for panel in room.panels]
    failing = [finding.sentence(system) for finding in plan.findings if finding.status == "fail"]
    told += [f"Fails: {sentence}." for sentence in failing]
    return " ".join(told)


def _room_marks(plan: FloorPlan, canvas: Canvas, mark: str) -> Iterator[str]:
    yield rectangle(canvas, plan.room.box, "p-floor")
    path = " ".join(
        "M" + "L".join(f"{canvas.x(x):.1f} {canvas.y(y):.1f}" for x, y in ring) + "Z"
        for ring in plan.clear_floor
    )
    if path:
        yield f'<path class="p-way" d="{path}"/>'
    for panel in plan.room.panels:
        yield rectangle(canvas, panel.working_space, "p-space", fill=f"url(#{mark}-space)")


def _envelope(spot: Spot, place: int, canvas: Canvas, mark: str) -> Iterator[str]:
    yield rectangle(canvas, spot.envelope, "p-envelope", fill=f"url(#{mark}-{place % 6})")


def _fixture_marks(plan: FloorPlan, canvas: Canvas) -> Iterator[str]:
    yield rectangle(canvas, plan.room.box, "p-wall")
    for solid in plan.room.obstacles:
        yield rectangle(canvas, solid.box, "p-solid" if solid.column else "p-fixture")
        yield fitted_label(canvas, solid.box, solid.name, _FONT, "p-halo")
    for panel in plan.room.panels:
        yield rectangle(canvas, panel.box, "p-solid")
        yield fitted_label(canvas, panel.working_space, panel.name, _FONT, "p-halo")
    for door in plan.room.doors:
        yield from door_marks(door, canvas, _FONT)


def _failing(plan: FloorPlan) -> set[str]:
    return {
        name for finding in plan.findings if finding.status == "fail" for name in finding.machines
    }


def _machine_marks(plan: FloorPlan, canvas: Canvas) -> Iterator[str]:
    failing = _failing(plan)
    for place, spot in enumerate(plan.spots):
        box = spot.footprint
        yield rectangle(canvas, box, "p-machine")
        left, near, right, far = (
            canvas.x(box[0]), canvas.y(box[1]), canvas.x(box[2]), canvas.y(box[3]),
        )  # fmt: skip
        ends, arrow = {
            "far": ((left, far, right, far), (0, -1)),
            "near": ((left, near, right, near), (0, 1)),
            "right": ((right, near, right, far), (1, 0)),
            "left": ((left, near, left, far), (-1, 0)),
        }[spot.facing]
        x, y = (ends[0] + ends[2]) / 2, (ends[1] + ends[3]) / 2
        out, side = (arrow[0] * 30, arrow[1] * 30), (arrow[1] * 20, arrow[0] * 20)
        yield (
            f'<line class="p-front" x1="{ends[0]:.1f}" y1="{ends[1]:.1f}" x2="{ends[2]:.1f}" '
            f'y2="{ends[3]:.1f}"/><path class="p-arrow" d="M{x - side[0]:.1f} {y - side[1]:.1f}'
            f'L{x + side[0]:.1f} {y + side[1]:.1f}L{x + out[0]:.1f} {y + out[1]:.1f}Z"/>'
        )
        if spot.name in failing:
            yield rectangle(canvas, box, "p-fails")
        numbered = f"{place + 1} {spot.name}"
        number = str(place + 1)
        yield fitted_label(canvas, box, numbered, _FONT, "p-strong p-halo", short=number)


def _key_entries(plan: FloorPlan, system: UnitSystem, mark: str) -> Iterator[str]:
    """Yield the lines of the key, each drawn from 0, 0."""

    def swatch(style: str, fill: str = "") -> str:
        filled = f' style="fill: {fill}"' if fill else ""
        return f'<rect class="{style}" x="2" y="-29" width="66" height="36"{filled}/>'

    failing = _failing(plan)
    for place, spot in enumerate(plan.spots):
        sizes = " × ".join(
            quantity_text(one, "length", system, digits=3)
            for one in (spot.size.length, spot.size.depth)
        )
        fails = f"  {label(82, 0, '✕', 'p-bad')}" if spot.name in failing else ""
        said = label(116 if fails else 82, 0, f"{place + 1} {spot.name}, {sizes}")
        yield swatch("p-envelope", f"url(#{mark}-{place % 6})") + fails + said
    if plan.spots:
        yield (
            '<line class="p-front" x1="2" y1="-4" x2="68" y2="-4"/><path class="p-arrow" '
            'd="M17 -6L53 -6L35 -32Z"/>' + label(82, 0, "operator's side; hatched: clearance")
        )
    if plan.room.panels:
        said = "working space of a panel, never storage"
        yield swatch("p-space", f"url(#{mark}-space)") + label(82, 0, said)
    if plan.clear_floor:
        way = quantity_text(plan.room.exit_access_width, "length", system, digits=3)
        yield swatch("p-way") + label(82, 0, f"where a way out {way} wide is clear")
