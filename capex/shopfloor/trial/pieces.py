"""Which pieces to time so that every parameter shows, and how well it then will.

Imports numpy, `capex.errors`, `capex.study` and, of this folder, `least_squares`, `model`,
`parameters`, `reading` and `statistics`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from capex.errors import InputError
from capex.shopfloor.cutting import speed_matters_above
from capex.shopfloor.trial.least_squares import Fit, jacobian
from capex.shopfloor.trial.model import TrialModel
from capex.shopfloor.trial.parameters import free_parameters
from capex.shopfloor.trial.reading import Reading
from capex.shopfloor.trial.statistics import CONFIDENCE, student_quantile
from capex.study import Machine, Study

__all__ = ["SCATTER", "TrialPiece", "expected_half_widths", "known_machines", "proposed_pieces"]

#: Scatter of a hand on a stopwatch that plans count on [s]. The figure is ours.
SCATTER: Final = 0.5

#: Shortest run that is planned [s], so that the hand's error stays small. The figure is ours.
_SHORTEST_RUN: Final = 30.0

_TEETH: Final = 40


@dataclass(frozen=True)
class TrialPiece:
    """One piece of work to time, and what it shows.

    Parameters
    ----------
    setting : Reading
        Without machine, run and time.
    purpose : str
        What it shows, for people.
    """

    setting: Reading
    purpose: str


def proposed_pieces(study: Study, machines: Sequence[str]) -> tuple[TrialPiece, ...]:
    """Return the pieces to time, the same on all machines.

    Assumes that the study's speeds and accelerations are right within a factor of about two: they
    set which lines are long and which are short.

    Parameters
    ----------
    study : Study
    machines : sequence of str
        Keys in the study.

    Returns
    -------
    tuple of TrialPiece

    Raises
    ------
    InputError
        No machines, or one that the study has not.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> [piece.setting.piece for piece in proposed_pieces(study, ["mid_roll_printer"])]
    ['wide print', 'half-wide print', 'narrow print']
    """
    chosen = [study.machines[key] for key in known_machines(study, machines)]
    pieces: list[TrialPiece] = []
    if any(machine.printing for machine in chosen):
        pieces += _prints(chosen)
    if any(machine.cutting for machine in chosen):
        pieces += _cuts(chosen)
    if any(machine.laminating for machine in chosen):
        width = min(m.laminating.laminating_width.likely for m in chosen if m.laminating)
        run = Reading(0, "", "laminate", 0.0, "lamination", width=_down(width), height=3.0)
        pieces.append(TrialPiece(run, "feed speed"))
    return tuple(pieces)


def known_machines(study: Study, machines: Sequence[str]) -> tuple[str, ...]:
    """Return keys of machines, each once.

    Raises
    ------
    InputError
        No machines, or one that the study has not.
    """
    if not machines:
        raise InputError("machines", 0, "must be at least 1")
    for key in machines:
        if key not in study.machines:
            raise InputError(
                "machine", key, f"is not in the study; known: {', '.join(study.machines)}"
            )
    return tuple(dict.fromkeys(machines))


def _down(length: float, step: float = 0.01) -> float:
    return round(math.floor(length / step + 1e-9) * step, 6)


def _prints(machines: Sequence[Machine]) -> list[TrialPiece]:
    width = _down(min(m.printing.print_width.likely for m in machines if m.printing))
    rows = (
        ("wide print", width, 0.6, "carriage speed, together with the narrow print"),
        ("half-wide print", _down(0.5 * width), 0.8, "whether time grows evenly with the width"),
        ("narrow print", _down(0.2 * width), 1.0, "turn time: half of it is turning here"),
    )
    return [
        TrialPiece(Reading(0, "", "print", 0.0, name, width=wide, height=long, passes=6), purpose)
        for name, wide, long, purpose in rows
    ]


def _cuts(machines: Sequence[Machine]) -> list[TrialPiece]:
    knives = [machine.cutting for machine in machines if machine.cutting]
    reach = [float(speed_matters_above(k.set_speed.likely, k.acceleration.likely)) for k in knives]
    speed = max(knife.set_speed.likely for knife in knives)
    width = min(knife.cut_width.likely for knife in knives)
    long = max(_down(0.9 * width), min(_down(4.0 * max(reach)), 2.0))
    side = max(round(2.0 * max(reach), 3), 0.02)
    short, fine = max(round(0.5 * min(reach), 3), 0.004), max(round(0.1 * min(reach), 3), 0.002)

    def path(name: str, length: float, segments: int, purpose: str) -> TrialPiece:
        rate = max(knife.acceleration.likely for knife in knives)
        each = (
            length / speed + speed / rate if length > min(reach) else 2 * math.sqrt(length / rate)
        )
        pieces = max(4, math.ceil(_SHORTEST_RUN / (segments * each)))
        run = Reading(0, "", "cut", 0.0, name, pieces=pieces, cut="path",
                      cut_length=round(segments * length, 6), segments=segments)  # fmt: skip
        return TrialPiece(run, purpose)

    squares = math.ceil(_SHORTEST_RUN / (4.0 * side / speed) / 2.0)
    square = Reading(0, "", "cut", 0.0, "squares", width=side, height=side, pieces=squares,
                     cut="rectangle")  # fmt: skip
    return [
        path("long lines", long, 1, "set speed: the knife runs at it for most of each line"),
        TrialPiece(square, "corners and lifts as in production"),
        path("zigzag, large teeth", short, _TEETH, "acceleration: the set speed is never reached"),
        path("zigzag, small teeth", fine, _TEETH, "rest at corners, apart from acceleration"),
        path("short lines", short, 1, "lift and lowering: as many lifts as lines"),
    ]


def expected_half_widths(
    study: Study,
    machine: str,
    work: str,
    runs: Sequence[Reading],
    *,
    scatter: float = SCATTER,
    confidence: float = CONFIDENCE,
) -> dict[str, float]:
    """Return how well a trial that is only planned will know each parameter.

    Assumes that the study's values are about right.

    Parameters
    ----------
    study : Study
    machine, work : str
    runs : sequence of Reading
        All that will count; their times do not matter.
    scatter : float
        Standard deviation of one reading [s].
    confidence : float
        [-].

    Returns
    -------
    dict of str to float
        Half width of each parameter's interval, canonical unit.

    Raises
    ------
    InputError
        Too few runs.
    NoAnswerError
        The plan cannot tell the parameters apart.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> plan = [replace(piece.setting, machine="old_cutter") for piece in
    ...         proposed_pieces(study, ["old_cutter"])] * 5
    >>> found = expected_half_widths(study, "old_cutter", "cut", plan)
    >>> found["set_speed"] < 0.01
    True
    """
    mine = [replace(one, machine=machine) for one in runs if one.work == work]
    names = free_parameters(study.machines[machine], work, mine)
    if len(mine) <= len(names):
        raise InputError("runs", len(mine), f"must be at least {len(names) + 1}")
    model = TrialModel(study, machine, names, {})
    values = np.array(
        [
            size if before is None else before
            for size, before in zip(model.scale, model.before, strict=True)
        ]
    )
    table = jacobian(lambda points: model.times(points, mine), values, model.scale)
    error = scatter * np.sqrt(np.diag(Fit(values, np.zeros(len(mine)), table).unit_covariance))
    half = student_quantile(len(mine) - len(names), confidence) * error
    return dict(zip(names, half.tolist(), strict=True))
