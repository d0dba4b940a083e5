"""Make the invented time trial of the demo shop, Quenlow Graphics in Ossleford Haven.

Everything here is invented. Run it to write ``quenlow_trial.csv`` beside this file; the same seed
gives the same bytes. The machines are timed as the trial sheet asks, and behave by the model with
the values in `TRUE`, which differ a little from those that the demo study assumes; a hand on a
stopwatch scatters by `SCATTER`, and first runs take longer.

Only ``random.Random.random`` is drawn from, whose sequence Python keeps from version to version.
"""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import date
from pathlib import Path
from statistics import NormalDist

from capex.shopfloor.printing import swath_count
from capex.shopfloor.trial.reading import Reading
from capex.shopfloor.trial.sheet import readings_table, trial_sheet
from capex.shopfloor.trial.times import modelled_times
from capex.shopfloor.trial.work import WORK
from capex.study import Study, data_folder, read_study

SEED = 20_261_105
SCATTER = 0.4
ON = date(2026, 11, 5)
MACHINES = ("mid_roll_printer", "mid_contour_cutter", "mid_all_in_one")
TRUE = {
    ("mid_roll_printer", "print"): {"carriage_speed": 0.97, "turn_time": 0.31},
    ("mid_all_in_one", "print"): {"carriage_speed": 1.02, "turn_time": 0.33},
    ("mid_contour_cutter", "cut"): {
        "set_speed": 0.91, "acceleration": 26.0, "corner_dwell": 0.012, "lift_time": 0.074,
    },
    ("mid_all_in_one", "cut"): {
        "set_speed": 0.53, "acceleration": 9.1, "corner_dwell": 0.015, "lift_time": 0.097,
    },
}  # fmt: skip
HANDLING = {
    "set up": 330.0, "load": 205.0, "unload": 110.0, "nozzle check": 96.0, "roll change": 440.0,
    "load for cutting": 262.0, "find marks": 6.5,
}  # fmt: skip


def normal(rng: random.Random) -> float:
    return NormalDist().inv_cdf(rng.random() * (1.0 - 2e-12) + 1e-12)


def timed(study: Study, run: Reading, rng: random.Random) -> Reading:
    warm_up = 1.06 if run.run == 1 else 1.0
    if not WORK[run.work].is_calibrated:
        time = HANDLING[run.work] * warm_up * (1.0 + 0.06 * normal(rng))
        return replace(run, time=round(time, 1), on=ON)
    values = TRUE[run.machine, run.work]
    time = float(modelled_times(study, run.machine, [run], values)[0, 0])
    run = replace(run, time=round(warm_up * time + SCATTER * normal(rng), 1), on=ON)
    share = 0.12 if run.work == "print" else 0.18
    run = replace(run, attended=round(run.time * share * (0.8 + 0.4 * rng.random()), 1), spoiled=0)
    if run.work == "print" and run.run == 2:
        engine = study.machines[run.machine].printing
        assert engine is not None
        assert engine.swath_height is not None
        length = run.printed_size[1]
        count = swath_count(length, passes=run.passes, swath_height=engine.swath_height.likely)
        run = replace(run, crossings=int(count))
    if run.cut == "rectangle":
        off = 0.0002 if run.machine == "mid_contour_cutter" else 0.0003
        run = replace(run, offsets=tuple(round(off * 2 * rng.random(), 4) for _ in range(4)))
    return run


def main() -> None:
    study = read_study(data_folder() / "studies" / "quenlow.toml")
    rng = random.Random(SEED)
    rows = [timed(study, run, rng) for run in trial_sheet(study, MACHINES).rows]
    path = Path(__file__).with_name("quenlow_trial.csv")
    path.write_text(readings_table(rows), encoding="utf-8")
    print(f"{path.name}: {len(rows)} runs")


if __name__ == "__main__":
    main()
