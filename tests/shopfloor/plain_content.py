"""Work content and direct cost of one order in plain Python, from the written model alone.

One job type on one printing place, one laminator and one cutting place, scalar by scalar: an
independent statement of what `capex.shopfloor` computes with arrays. Places are indices in the
alternative's list, as two places may hold the same model of machine.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cache

from capex.shopfloor.printing import ASSUMED_WIDTH_CONSTANT
from capex.study import Alternative, JobType, Knife, Machine, Study


@dataclass
class PlainContent:
    """Seconds by place and person, and currency, for one good order asked for."""

    held: dict[str, float] = field(default_factory=dict)
    people: dict[str, float] = field(default_factory=dict)
    people_by_day: dict[str, float] = field(default_factory=dict)
    alone: float = 0.0
    cost: float = 0.0
    layout_width: float = 0.0


@cache
def grid(side: float, along: float, pieces: float, usable: float, gap: float, overlap: float):
    """Return (width, length) of a grid with `side` across the roll, or None; panels if joined."""
    panels = 1
    if side > usable * (1 + 1e-9):
        if math.isnan(overlap):
            return None
        panels = math.ceil((side - overlap) / (usable - overlap) - 1e-9)
        side = (side + (panels - 1) * overlap) / panels
    across = min(math.floor((usable + gap) / (side + gap) + 1e-9), pieces * panels)
    rows = math.ceil(pieces * panels / across - 1e-9)
    return across * side + (across - 1) * gap, rows * along + (rows - 1) * gap


def layout(job: JobType, usable: float, gap: float):
    """Return (width, length) of the shortest layout of an order, or None."""
    w, h, pieces = job.width.likely, job.height.likely, job.pieces_per_order.likely
    found = [grid(w, h, pieces, usable, gap, math.nan), grid(h, w, pieces, usable, gap, math.nan)]
    if not any(found) and job.may_panel:
        overlap = job.panel_overlap.likely
        found = [grid(w, h, pieces, usable, gap, overlap), grid(h, w, pieces, usable, gap, overlap)]
    possible = [one for one in found if one is not None]
    return min(possible, key=lambda one: round(one[1], 9)) if possible else None


def print_seconds(job: JobType, machine: Machine, width: float, length: float) -> float:
    """Return the time to print a width by a length."""
    engine, passes = machine.printing, job.passes.likely
    if engine.swath_height is not None:
        swaths = math.ceil(length * passes / engine.swath_height.likely - 1e-9) + passes - 1
        crossing = (width + 2 * engine.overrun.likely) / engine.carriage_speed.likely
        directions = 2 if engine.unidirectional else 1
        return swaths * directions * (crossing + engine.turn_time.likely)
    # rate in proportion to W/(W + W0), with the width constant that the package assumes
    lost = ASSUMED_WIDTH_CONSTANT
    quoted = engine.quoted_width.likely
    endless = engine.quoted_rate.likely * (quoted + lost) / quoted
    rate = endless * width / (width + lost) * engine.quoted_passes.likely / passes
    return width * length / rate


def piece_cut_seconds(job: JobType, knife: Knife, factor: float) -> float:
    """Return the knife's time along a described path of one piece, all passes."""
    path, count = job.cut.length.likely, job.cut.segments.likely
    segment, a = path / count, knife.acceleration.likely
    top = min(knife.set_speed.likely * factor, math.sqrt(a * segment))
    once = count * (2 * top / a + max(0.0, segment - top**2 / a) / top)
    corners = max(count - job.cut.lifts.likely, 0)
    once += corners * knife.corner_dwell.likely + job.cut.lifts.likely * knife.lift_time.likely
    return once * job.cut_passes.likely


def plain_content(
    study: Study,
    choice: Alternative,
    key: str,
    printer: int | None,
    laminator: int | None,
    cutter: int | None,
) -> PlainContent | None:
    """Return what one order of a type takes, or None where the machines cannot make it."""
    job, handling = study.jobs[key], study.shop.handling
    model = [study.machines[place.machine] for place in choice.machines]
    roll = study.films[job.film or job.cut_material]
    widths = [roll.roll_width.likely - 2 * roll.edge_margin.likely]
    if job.film:
        widths.append(model[printer].printing.print_width.likely)
    if job.laminated.likely > 0:
        widths.append(model[laminator].laminating.laminating_width.likely)
    knife = model[cutter].cutting if job.cut else None
    if knife:
        widths.append(knife.cut_width.likely)
    # a roll goes into machines that work on up to 100 mm less than its width
    if any(roll.roll_width.likely > width + 0.1 + 1e-12 for width in widths[1:]):
        return None
    laid = layout(job, min(widths), handling.piece_gap.likely)
    if laid is None:
        return None
    width, length = laid

    runs = handling.orders_per_run.likely
    finisher = "finishers" if study.shop.people.finishers.likely > 0 else "operators"
    found = PlainContent(layout_width=min(widths))
    laminated = job.laminated.likely
    spoil_print = handling.printing_spoil.likely if job.film else 0.0
    same_frame = printer is not None and printer == cutter
    spoil_cut = {
        False: 0.0 if not knife else (
            knife.spoil_direct if same_frame else knife.spoil_reloaded).likely,
        True: 0.0 if not knife else knife.spoil_laminated.likely,
    }  # fmt: skip
    started = {
        with_laminate: (laminated if with_laminate else 1 - laminated)
        / ((1 - spoil_print) * (1 - spoil_cut[with_laminate]))
        for with_laminate in (False, True)
    }

    def takes(weight, place, held, attended, who="operators", alone=False):
        if place is not None:
            found.held[place] = found.held.get(place, 0.0) + weight * held
        found.people[who] = found.people.get(who, 0.0) + weight * attended
        if alone:
            found.alone += weight * held
        else:
            found.people_by_day[who] = found.people_by_day.get(who, 0.0) + weight * attended

    for with_laminate, weight in started.items():
        if weight == 0:
            continue
        stays = same_frame and not with_laminate
        takes(weight, None, 0, handling.order_set_up_time.likely)
        if job.film:
            engine = model[printer].printing
            load = (handling.load_time.likely + engine.nozzle_check_time.likely) / runs
            load += model[printer].roll_change_time.likely * length / roll.roll_length.likely
            takes(weight, printer, load, load)
            time = print_seconds(job, model[printer], width, length)
            time /= study.levers.print_rate.likely
            takes(weight, printer, time, time * handling.printing_attended.likely, alone=True)
            if knife and stays:
                inside = engine.drying_time.likely + handling.rewind_time.likely
                takes(weight, printer, inside, 0, alone=True)
            elif knife:
                takes(weight, printer, handling.unload_time.likely, handling.unload_time.likely)
                takes(weight, None, 0, handling.carry_time.likely)
        if with_laminate:
            part = model[laminator].laminating
            time = part.load_time.likely / runs + length / part.feed_speed.likely
            takes(weight, laminator, time, time)
            takes(weight, None, 0, handling.carry_time.likely)
        if knife:
            if not stays or not job.film:
                reload = knife.reload_time.likely / runs
                takes(weight, cutter, reload, reload)
            if job.film:
                sets = math.ceil(length / knife.mark_set_length.likely - 1e-9)
                takes(weight, cutter, sets * knife.mark_scan_time.likely, 0, alone=stays)
            pieces = job.pieces_per_order.likely
            time = pieces * piece_cut_seconds(job, knife, study.levers.cut_speed.likely)
            takes(weight, cutter, time, time * handling.cutting_attended.likely, alone=stays)
        last = cutter if knife else printer
        takes(weight, last, handling.unload_time.likely, handling.unload_time.likely)
        for time in (job.weeding_time, job.finishing_time, job.packing_time):
            takes(weight, None, 0, time.likely, finisher)
    if not job.film:
        found.alone = 0.0
    found.cost = _direct_cost(study, choice, job, found, started, (length, printer, cutter))
    return found


def _direct_cost(study, choice, job, found, started, laid) -> float:
    """Return film, ink, laminate, wear, power and the rest of one good order."""
    length, printer, cutter = laid
    waste = 1 - study.shop.handling.media_waste.likely
    roll = study.films[job.film or job.cut_material]
    area = length * roll.roll_width.likely
    begun = sum(started.values())
    bought_film = study.films.get(job.film or job.cut_material or "")
    cost = begun * area * bought_film.price.likely / waste if bought_film else 0.0
    if job.laminate:
        cost += started[True] * area * study.films[job.laminate].price.likely / waste
    if job.film:
        engine = study.machines[choice.machines[printer].machine].printing
        ink = study.inks[engine.ink]
        printed = job.pieces_per_order.likely * job.width.likely * job.height.likely
        used = printed * ink.laid_down.likely * (1 + ink.cleaning_share.likely)
        cost += begun * used * ink.price.likely
        if engine.head_life is not None:
            cost += begun * used / engine.head_life.likely * engine.head_price.likely
    if job.cut:
        knife = study.machines[choice.machines[cutter].machine].cutting
        if knife.blade_life is not None:
            path = job.pieces_per_order.likely * job.cut.length.likely * job.cut_passes.likely
            cost += begun * path / knife.blade_life.likely * knife.blade_price.likely
    energy = sum(
        seconds * study.machines[choice.machines[place].machine].power_active.likely
        for place, seconds in found.held.items()
    )
    cost += energy * study.shop.premises.electricity.likely
    return cost + (job.other_cost.likely if job.other_cost is not None else 0.0)
