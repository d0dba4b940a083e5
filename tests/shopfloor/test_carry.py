"""Sheeting and carrying a print: at each change of machines, by an operator."""

import pytest
from hand_shop import hand_study
from plain_content import plain_content

from capex.shopfloor.batch.tasks import BatchEntry
from capex.shopfloor.batch.timeline import batch_timeline
from capex.shopfloor.content import Contents
from capex.shopfloor.mix import job_mix
from capex.shopfloor.routes import routes

NAME = "sheet and carry"
CARRY = 90.0


@pytest.mark.parametrize(
    ("key", "job", "times"),
    [("keep", "plain", 1), ("keep", "laminated", 2), ("frame", "plain", 0),
     ("frame", "laminated", 2)],
)  # fmt: skip
def test_an_order_is_carried_each_time_that_it_changes_machines(key, job, times):
    batch = [BatchEntry(job, laminated=job == "laminated")]
    still = batch_timeline(hand_study(), key, batch)
    timeline = batch_timeline(hand_study(shop__handling__carry_time="90 s"), key, batch)
    carried = [one for one in timeline.tasks if one.task.name == NAME]
    assert [(one.machine, one.people) for one in carried] == [(None, "Operators")] * times
    assert [one.attended_until - one.attended_from for one in carried] == [CARRY] * times
    # The way to the laminator and back lies in a row with all the rest.
    assert timeline.makespan == pytest.approx(still.makespan + times * CARRY)
    assert NAME not in {one.task.name for one in still.tasks}


def test_what_is_only_printed_or_only_laminated_is_carried_no_further():
    study = hand_study(
        shop__handling__carry_time="90 s", jobs__plain__cut=None, jobs__laminated__cut=None
    )
    batch = [BatchEntry("plain"), BatchEntry("laminated", laminated=True)]
    timeline = batch_timeline(study, "keep", batch)
    assert [one.order for one in timeline.tasks if one.task.name == NAME] == [1]


@pytest.mark.parametrize("key", ["keep", "frame"])
def test_against_plain_python_the_operators_time(key):
    study = hand_study(shop__handling__carry_time="90 s")
    choice = study.alternatives[key]
    every = routes(Contents(study, job_mix(study)), choice)
    stations = [place.key for place in every.stations]
    for v, route in enumerate(every.each):
        name = list(study.jobs)[route.job]
        plain = plain_content(study, choice, name, route.print, route.laminate, route.cut)
        load = every.load[0, v, stations.index("operators")]
        assert load == pytest.approx(plain.people["operators"])
