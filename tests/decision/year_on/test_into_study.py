"""What was re-estimated, written into a study file: the same verdict, measured, with its day."""

from datetime import date

import numpy as np
import pytest

from capex.decision.year_on import year_on
from capex.decision.year_on.into_study import re_estimated
from capex.study import StudyFile, data_folder


@pytest.fixture(scope="module")
def file():
    return StudyFile.read(data_folder() / "studies" / "quenlow_year_on.toml")


@pytest.fixture(scope="module")
def written(file):
    return re_estimated(file, year_on(file.study))


def test_law_the_file_comes_to_what_the_page_showed(file, written):
    shown = year_on(file.study).standing.appraisal.net_present_value[1]
    again = year_on(written.study)
    np.testing.assert_allclose(again.standing.appraisal.net_present_value[0], shown, rtol=1e-5)
    assert again.ratios["demand"].value == pytest.approx(1.0, abs=1e-4)


def test_what_moved_is_measured_on_the_last_day_and_nothing_else_is(file, written):
    found = year_on(file.study)
    before, after = dict(file.study.quantities()), dict(written.study.quantities())
    assert before.keys() == after.keys()
    for path, quantity in after.items():
        if path in found.values:
            assert quantity.source == "measured"
            assert quantity.on == date(2027, 12, 31)
            assert quantity.likely == pytest.approx(found.values[path], rel=1e-6)
        else:
            assert quantity == before[path]


def test_an_interval_becomes_low_and_high_and_other_spreads_move_along(file, written):
    one, demand = year_on(file.study).ratios["demand"], written.study.levers.demand
    assert demand.distribution == "lognormal"
    assert (demand.low, demand.high) == pytest.approx((one.low, one.high), rel=1e-6)
    before, after = (each.study.quantity("shop.premises.electricity") for each in (file, written))
    assert after.low / after.likely == pytest.approx(before.low / before.likely, rel=1e-6)


def test_comments_and_records_stay(file, written):
    assert written.study.actuals == file.study.actuals
    assert "# Time that a faster machine saves is money only" in written.text
