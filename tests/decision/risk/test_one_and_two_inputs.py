"""Spider, two-way map and the nearest flip: the path itself at every point."""

from collections.abc import Callable

import numpy as np
import pytest

from capex.decision.appraise import appraise
from capex.decision.risk import nearest_flip as nearest
from capex.decision.risk.nearest_flip import nearest_flip
from capex.decision.risk.spider import InputLine, Spider, spider
from capex.decision.risk.two_way import TwoWayMap, two_way_map
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


def test_law_a_swing_counts_the_likely_value_and_what_lies_between() -> None:
    """Both ends at 5, today at 0: the input moves 5, not 0; a point between counts too."""
    line = InputLine(
        None, np.array([1.0, 2.0, 3.0]), np.array([[0.0, 5.0], [0.0, 7.0], [0.0, 5.0]])
    )  # type: ignore[arg-type]
    web = Spider(("keep", "buy"), np.array([0.1, 0.5, 0.9]), np.array([0.0, 1.0]), (line,))
    assert web.swings(1) == ((line, 6.0),)
    assert web.swings(0, 1) == ((line, 6.0),)
    low = Spider(("keep", "buy"), np.array([0.1, 0.5, 0.9]), np.array([0.0, 9.0]), (line,))
    assert low.swings(1) == ((line, 4.0),)


def test_against_single_appraisals_the_swings(demo: Study, lines: Spider) -> None:
    here = appraise(demo).net_present_value[0]
    for line, change in lines.swings(2, 1)[::7]:
        each = [appraise(demo, {line.input.path: v}).net_present_value[0] for v in line.values]
        leads = [gains[2] - gains[1] for gains in (here, *each)]
        assert change == pytest.approx(max(leads) - min(leads), rel=1e-9, abs=1e-6)


def test_whoever_overtakes_is_named_and_a_tie_is_nobody() -> None:
    gains = np.array([[0.0, 5.0, 5.0], [0.0, 5.0, 6.0], [7.0, 5.0, 6.0]])
    line = InputLine(None, np.array([1.0, 2.0, 3.0]), gains)  # type: ignore[arg-type]
    web = Spider(("keep", "buy", "other"), np.array([0.1, 0.5, 0.9]), gains[0], (line,))
    assert web.overtaken(line, 1) == (2, 0)
    assert web.overtaken(InputLine(None, line.values, gains[:1]), 1) == ()  # type: ignore[arg-type]


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


def away(found: TwoWayMap, across: np.ndarray, up: np.ndarray) -> np.ndarray:
    """Return √(share² + share²) of points from where the study stands, written anew."""
    shares = []
    for axis, at, values in zip((found.across, found.up), found.likely, (across, up), strict=True):
        below, above = at - axis[0], axis[-1] - at
        shares.append([(v - at) / (below if v < at else above) if v != at else 0 for v in values])
    return np.sqrt(np.array(shares[0])[None, :] ** 2 + np.array(shares[1])[:, None] ** 2)


@pytest.mark.parametrize("up", ["levers.demand", "money.horizon"])
def test_against_brute_force_the_nearest_flip_is_the_smallest_change(demo: Study, up: str) -> None:
    """A fine map of the quarter that the flip lies in has no point that flips nearer by.

    The straight way to the nearest point of the coarse map crosses the border 4 % farther out.
    """
    price = "machines.mid_all_in_one.price"
    today = {path: demo.quantity(path).likely for path in (price, up)}
    ranges = {path: (0.4 * value, 1.8 * value) for path, value in today.items()}
    ranges["money.horizon"] = (48.0, 120.0)
    coarse = two_way_map(demo, price, up, size=21, ranges=ranges)
    found = nearest_flip(demo, coarse)
    assert found is not None
    mine = float(np.hypot(*found.changes))
    quarter = {}
    for path, change, (low, high) in zip(
        coarse.paths, found.changes, (ranges[path] for path in coarse.paths), strict=True
    ):
        far = today[path] + mine * ((high if change >= 0 else low) - today[path])
        quarter[path] = tuple(sorted((today[path], far)))
    if up == "money.horizon":
        quarter[up] = (84.0, 96.0)
        assert found.values[1] == round(found.values[1])
    fine = two_way_map(demo, price, up, size=61, ranges=quarter)
    flips = away(coarse, fine.across, fine.up)[fine.best != found.from_]
    assert mine == pytest.approx(
        away(coarse, np.array(found.values[:1]), np.array(found.values[1:]))[0, 0]
    )
    assert flips.min() >= mine * (1 - 1e-3)


def nearest_of(
    monkeypatch: pytest.MonkeyPatch, flips: Callable[[np.ndarray], np.ndarray]
) -> nearest.Flip | None:
    """Return the nearest flip of a made-up choice over −1 … 1 twice, from 0.1, −0.2."""
    axis = np.linspace(-1.0, 1.0, 21)
    points = np.stack(np.meshgrid(axis, axis), axis=-1)
    gains = np.stack([np.zeros(points.shape[:2]), np.where(flips(points), 1.0, -1.0)], axis=-1)
    found = TwoWayMap((WAGE, RATE), ("keep", "buy"), axis, axis, gains, (0.1, -0.2))
    monkeypatch.setattr(
        nearest._Search, "best", lambda self, points: np.asarray(flips(points)).astype(np.intp)
    )
    monkeypatch.setattr(nearest, "held_lateness", lambda *_: None)
    return nearest_flip(read_study(data_folder() / "studies" / "quenlow.toml"), found)


@pytest.mark.parametrize("radius", [0.15, 0.4, 0.83])
@pytest.mark.parametrize("turn", [0.3, 1.1, 2.9, 4.4])
def test_law_the_nearest_point_of_a_curved_border(
    monkeypatch: pytest.MonkeyPatch, radius: float, turn: float
) -> None:
    """Outside a circle about another point than the study's, in shares: its edge is known."""

    def shares(points: np.ndarray) -> np.ndarray:
        x, y = points[..., 0] - 0.1, points[..., 1] + 0.2
        return np.stack([np.where(x < 0, x / 1.1, x / 0.9), np.where(y < 0, y / 0.8, y / 1.2)])

    middle = 0.5 * radius * np.array([np.cos(turn), np.sin(turn)])

    def flips(points: np.ndarray) -> np.ndarray:
        x, y = shares(points)
        return np.hypot(x - middle[0], y - middle[1]) > radius

    found = nearest_of(monkeypatch, flips)
    assert found is not None
    assert np.hypot(*found.changes) == pytest.approx(0.5 * radius, rel=1e-3)


def test_law_a_choice_that_leads_in_less_than_a_cell_is_left_on_the_shortest_way(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    found = nearest_of(monkeypatch, lambda points: points[..., 0] > 0.1 + 0.9 * 0.02)
    assert found is not None
    assert np.hypot(*found.changes) == pytest.approx(0.02, rel=1e-3)
    assert found.values[1] == pytest.approx(-0.2, abs=1e-3)


def test_a_map_of_whole_numbers_has_no_other_points(demo: Study) -> None:
    found = two_way_map(demo, "money.horizon", WAGE, size=31, ranges={"money.horizon": (48, 180)})
    assert found.across.tolist() == sorted({round(48 + 4.4 * k) for k in range(31)})
    few = two_way_map(demo, WAGE, "money.horizon", size=9, ranges={"money.horizon": (82, 85)})
    assert few.up.tolist() == [82, 83, 84, 85]
    assert few.gains.shape == (4, 9, 4)
    alone = appraise(demo, {WAGE: few.across[7], "money.horizon": 85}).net_present_value[0]
    assert np.array_equal(alone, few.gains[3, 7])


def test_a_map_reaches_as_far_as_where_the_study_stands(demo: Study) -> None:
    quantity = demo.quantity(RATE)
    assert quantity.high is not None
    found = two_way_map(demo, WAGE, RATE, {RATE: 0.3}, size=5)
    assert found.up[[0, -1]].tolist() == [quantity.low, 0.3]
    assert found.likely[1] == 0.3


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
