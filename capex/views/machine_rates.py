"""What 100 % of print rate and cut speed mean, machine by machine, in the units shown.

May import: from capex units, study and `shopfloor.printing`.
"""

from __future__ import annotations

from capex.shopfloor.printing import long_run_print_rate
from capex.study import Machine, PrintEngine, Study
from capex.units import UnitSystem, quantity_text

__all__ = ["cut_speeds_sentence", "print_rates_sentence", "quoted_rates_sentence"]


def _machines(study: Study) -> list[Machine]:
    """Return every machine that works in some alternative, in the order of the study."""
    used = {place.machine for choice in study.alternatives.values() for place in choice.machines}
    return [machine for key, machine in study.machines.items() if key in used]


def cut_speeds_sentence(study: Study, units: UnitSystem) -> str:
    """Return the set speed of every knife.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> cut_speeds_sentence(study, "metric")[:28]
    '100% is: Mid contour cutter '
    """
    said = [
        f"{machine.name} {quantity_text(machine.cutting.set_speed.likely, 'speed', units)}"
        for machine in _machines(study)
        if machine.cutting is not None
    ]
    return f"100% is: {', '.join(said)}." if said else ""


def print_rates_sentence(study: Study, units: UnitSystem) -> str:
    """Return the long-run rate of every printer at its full width and the commonest passes.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> print_rates_sentence(study, "metric")[:41]
    '100% is, at full width: Mid roll printer '
    """
    passes = _commonest_passes(study)
    said = [
        f"{machine.name} {_rate(machine.printing, passes, units)}"
        for machine in _machines(study)
        if machine.printing is not None
    ]
    return f"100% is, at full width: {', '.join(said)}." if said else ""


def _commonest_passes(study: Study) -> float:
    orders: dict[float, float] = {}
    for job in study.jobs.values():
        if job.film is not None:
            passes = job.passes.likely
            orders[passes] = orders.get(passes, 0.0) + job.orders_per_month.likely
    return max(orders, key=orders.__getitem__, default=8.0)


def _rate(engine: PrintEngine, passes: float, units: UnitSystem) -> str:
    if engine.swath_height is not None and engine.carriage_speed is not None:
        rate = long_run_print_rate(
            engine.print_width.likely,
            passes=passes,
            swath_height=engine.swath_height.likely,
            carriage_speed=engine.carriage_speed.likely,
            overrun=engine.overrun.likely,
            turn_time=engine.turn_time.likely,
            directions=2.0 if engine.unidirectional else 1.0,
        )
        return f"{quantity_text(float(rate), 'area_rate', units, digits=3)} at {passes:g} passes"
    if engine.quoted_rate is None or engine.quoted_passes is None:
        return "without a rate"
    quoted = quantity_text(engine.quoted_rate.likely, "area_rate", units, digits=3)
    return f"{quoted} at {engine.quoted_passes.likely:g} passes, as quoted"


def quoted_rates_sentence(study: Study) -> str:
    """Return whose dependence on width is assumed because only a quoted rate is known."""
    names = [
        machine.name
        for machine in _machines(study)
        if machine.printing is not None
        and (machine.printing.swath_height is None or machine.printing.carriage_speed is None)
    ]
    return f"Assumed how the quoted rate falls on narrow work: {', '.join(names)}." if names else ""
