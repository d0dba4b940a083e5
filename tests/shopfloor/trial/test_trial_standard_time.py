"""Standard time: the page's table and what goes into the study are one figure."""

import pytest
from trial_shop import STUDY

from capex.shopfloor.trial.measurements import attended_shares, handling_times
from capex.shopfloor.trial.operator_work import operator_share, raised_by, run_times
from capex.shopfloor.trial.reading import Reading
from capex.shopfloor.trial.work import WORK, part_of
from capex.views.charts.picture import Look
from capex.views.floor.times import time_text
from capex.views.floor.trial_pictures import series_of, series_table
from capex.views.wording import Currency

PACE = {"rating": 1.1, "allowance": 0.15}
#: Operator work of a run of 100 s of which 20 s are attended, by the rule of the model: rating and
#: allowance on operator work only; a machine's own time is none, whoever stands by.
OPERATOR = {"find marks": 0.0}


def runs_of(work, attended):
    machine = next(key for key, each in STUDY.machines.items() if part_of(each, WORK[work]))
    return [
        Reading(row, machine, work, 100.0, width=0.5, height=0.5, attended=attended)
        for row in (2, 3, 4)
    ]


@pytest.mark.parametrize("attended", [None, 0.0, 20.0, 100.0])
@pytest.mark.parametrize("work", WORK)
def test_the_table_shows_what_goes_into_the_study(work, attended):
    runs = runs_of(work, attended)
    given = 100.0 if attended is None else attended
    if WORK[work].is_calibrated and attended is None:
        given = 0.0
    operator = OPERATOR.get(work, given)
    expected = (100.0 - operator) + operator * 1.1 * 1.15
    look = Look(STUDY, "metric", Currency("USD"))
    (row,) = series_table(series_of(runs), look, share=0.05, **PACE).rows
    assert row[-2] == time_text((100.0 - operator) + operator * 1.1).replace(" ", "\u00a0")
    assert row[-1] == time_text(expected).replace(" ", "\u00a0")
    entered = handling_times(runs, **PACE)
    if WORK[work].is_calibrated:  # its parameters are fitted to times as they were
        assert entered == ()
    else:
        (found,) = entered
        assert found.value == pytest.approx(expected)
        assert bool(found.raised) == (operator > 0)
    shares = attended_shares(runs)
    assert len(shares) == (work in ("print", "cut") and attended is not None)


def test_the_two_that_once_disagreed_by_hand():
    (marks,) = handling_times(runs_of("find marks", None), allowance=0.15)
    (check,) = handling_times(runs_of("nozzle check", 20.0), allowance=0.15)
    assert (marks.value, marks.raised) == (pytest.approx(100.0), "")
    assert check.value == pytest.approx(80.0 + 20.0 * 1.15)
    assert check.raised == "with an allowance of 15% of job time, on the 20% that was attended only"


def test_runs_that_do_not_say_who_stood_by_take_the_share_of_those_that_do():
    told = [Reading(2, "a", "nozzle check", 100.0, attended=30.0)]
    assert operator_share([*told, Reading(3, "a", "nozzle check", 50.0)]) == pytest.approx(0.3)


def test_law_machine_time_is_never_raised():
    normal, standard = run_times([100.0, 5.0], 0.0, rating=1.4, allowance=0.5, basis="workday")
    assert normal.tolist() == standard.tolist() == [100.0, 5.0]
    assert raised_by(0.0, rating=1.4, allowance=0.5) == ""
