"""Spider, two-way map and the nearest flip: the path itself at every point."""

import numpy as np
import pytest

from capex.decision.appraise import appraise
from capex.decision.risk.spider import InputLine, Spider, spider
from capex.decision.risk.two_way import TwoWayMap, nearest_flip, two_way_map
from capex.errors import InputError
from capex.study import Study, data_folder, read_study

WAGE, RATE = "shop.people.wage", "money.discount_rate"


@pytest.fixture(scope="module")
def demo() -> Study:
    return read_study(data_folder() / "studies" / "quenlow.toml")


@pytest.fixture(scope="module")
def lines(demo: Study) -> Spider:
    return spider(demo)


@pytest.fixture(scope="module")
def demand_map(demo: Study) -> TwoWayMap:
    return two_way_map(demo, "levers.demand", WAGE, size=9, ranges={"levers.demand": (0.5, 2.0)})


def test_against_single_appraisals(demo: Study, lines: Spider) -> None:
    for line in lines.lines[::9]:
        for value, gains in zip(line.values, line.gains, strict=True):
            alone = appraise(demo, {line.input.path: value}).net_present_value[0]
            assert np.array_equal(alone, gains)


def test_law_the_middle_of_a_symmetric_input_is_its_likely_value(demo: Study) -> None:
    for line in spider(demo, (0.5,)).lines:
        quantity = line.input.quantity
        assert quantity.low is not None
        assert quantity.high is not None
        if np.isclose(quantity.likely - quantity.low, quantity.high - quantity.likely, rtol=1e-9):
            assert line.values[0] == pytest.approx(quantity.likely, rel=1e-9)


def test_law_swings_come_largest_first(lines: Spider) -> None:
    changes = [change for _, change in lines.swings(2, 1)]
    assert changes == sorted(changes, reverse=True)
    assert changes[0] > 0.0


def test_ends_on_one_side_are_flagged() -> None:
    demo_line = InputLine(None, np.array([1.0, 2.0]), np.array([[0.0, 5.0], [0.0, 6.0]]))  # type: ignore[arg-type]
    flat = Spider(("keep", "buy"), np.array([0.1, 0.9]), np.array([0.0, 4.0]), (demo_line,))
    assert flat.one_sided(demo_line, 1)
    across = Spider(("keep", "buy"), np.array([0.1, 0.9]), np.array([0.0, 5.5]), (demo_line,))
    assert not across.one_sided(demo_line, 1)


def test_against_single_appraisals_the_map(demo: Study, demand_map: TwoWayMap) -> None:
    for row, column in ((0, 0), (3, 7), (8, 8)):
        point = {"levers.demand": demand_map.across[column], WAGE: demand_map.up[row]}
        alone = appraise(demo, point).net_present_value[0]
        assert np.array_equal(alone, demand_map.gains[row, column])


def test_law_the_nearest_flip_flips(demo: Study, demand_map: TwoWayMap) -> None:
    found = nearest_flip(demo, demand_map)
    assert found is not None
    point = dict(zip(demand_map.paths, found.values, strict=True))
    assert appraise(demo, point).best[0] == found.to
    assert appraise(demo).best[0] == found.from_ != found.to
    here = np.array(demand_map.likely)
    short = here + 0.999 * (np.array(found.values) - here)
    assert appraise(demo, dict(zip(demand_map.paths, short, strict=True))).best[0] == found.from_


def test_no_flip_where_one_choice_leads_all_over(demo: Study) -> None:
    narrow = two_way_map(
        demo, WAGE, RATE, size=3,
        ranges={WAGE: (21.9 / 3600, 22.1 / 3600), RATE: (0.099, 0.101)},
    )  # fmt: skip
    assert nearest_flip(demo, narrow) is None


@pytest.mark.parametrize(
    ("across", "up", "more", "bound"),
    [
        (WAGE, WAGE, {}, "another input"),
        ("levers.cut_speed", WAGE, {}, "has no low and high"),
        (WAGE, RATE, {"size": 1}, "2 to 201"),
        (WAGE, RATE, {"ranges": {RATE: (0.2, 0.1)}}, "low below its high"),
        (WAGE, "no.such", {}, "is not known here"),
    ],
)
def test_refuses_maps_that_are_none(
    demo: Study, across: str, up: str, more: dict[str, object], bound: str
) -> None:
    with pytest.raises(InputError, match=bound):
        two_way_map(demo, across, up, **more)  # type: ignore[arg-type]
