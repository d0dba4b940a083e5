"""A printer, a cutter and a study to time them in, with values known to the tests alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from capex.shopfloor.trial.pieces import proposed_pieces
from capex.shopfloor.trial.reading import Reading
from capex.shopfloor.trial.times import modelled_times
from capex.study import Study, data_folder, read_study

PRINTER, CUTTER = "mid_roll_printer", "mid_contour_cutter"
TRUE = {
    "print": {"carriage_speed": 0.81, "turn_time": 0.43},
    "cut": {"set_speed": 0.62, "acceleration": 11.0, "corner_dwell": 0.02, "lift_time": 0.11},
}
STUDY: Study = read_study(data_folder() / "studies" / "quenlow.toml")


def plan(machine: str, work: str, repeats: int = 5, pieces: tuple[str, ...] = ()) -> list[Reading]:
    """Return the proposed runs of a machine, all that count."""
    return [
        replace(piece.setting, machine=machine, run=run, row=run)
        for run in range(2, repeats + 2)
        for piece in proposed_pieces(STUDY, [machine])
        if piece.setting.work == work and (not pieces or piece.setting.piece in pieces)
    ]


def timed(
    runs: list[Reading],
    values: dict[str, float],
    *,
    scatter: float = 0.0,
    seed: int = 0,
    study: Study = STUDY,
) -> list[Reading]:
    """Return runs with the times of the model, and scatter from an explicit seed."""
    rng = np.random.default_rng(seed)
    times = modelled_times(study, runs[0].machine, runs, values)[0]
    noise = scatter * rng.standard_normal(len(runs))
    return [
        replace(run, time=float(time + error))
        for run, time, error in zip(runs, times, noise, strict=True)
    ]
