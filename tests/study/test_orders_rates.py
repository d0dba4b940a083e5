"""Level, seasonality and growth of monthly counts."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from capex.errors import OrderBookError
from capex.study.orders.rates import (
    Growth,
    Span,
    _chi_square_95,
    growth,
    monthly_level,
    pooled_growths,
    seasonality,
)

SHAPE = np.array([0.7, 0.8, 1.0, 1.1, 1.2, 1.2, 1.0, 0.9, 1.1, 1.1, 1.05, 0.85])
SHAPE = SHAPE / SHAPE.mean()
SPANS = st.builds(
    lambda first, days: Span(first, first + timedelta(days=days)),
    st.dates(date(2000, 1, 1), date(2030, 1, 1)),
    st.integers(0, 1500),
)


def expected_counts(span, level, rate, shape=SHAPE):
    return level * span.exposure * shape[span.calendar_month] * (1 + rate) ** span.years


def counts_for(span, seed, mean=20.0):
    return np.random.default_rng(seed).poisson(mean * span.exposure).astype(float)


@given(span=SPANS)
def test_law_exposure_counts_every_covered_day_once(span):
    per_month = {}
    for place in range((span.last - span.first).days + 1):
        day = span.first + timedelta(days=place)
        per_month[day.year, day.month] = per_month.get((day.year, day.month), 0) + 1
    starts = [date(year, month, 28) + timedelta(days=4) for year, month in per_month]
    lengths = [(start - timedelta(days=start.day)).day for start in starts]
    wanted = [days / length for days, length in zip(per_month.values(), lengths, strict=True)]
    assert span.exposure == pytest.approx(wanted, rel=1e-12)
    days = [span.first + timedelta(days=d) for d in range((span.last - span.first).days + 1)]
    assert span.counts(days).tolist() == list(per_month.values())


@given(span=SPANS, seed=st.integers(0, 99), mean=st.sampled_from([0.2, 5.0, 200.0]))
def test_law_seasonality_averages_one_and_is_positive(span, seed, mean):
    counts = counts_for(span, seed, mean)
    if counts.sum() == 0:
        counts[0] = 1
    for prior in (None, SHAPE):
        factors = seasonality(counts, span, 0.05, prior)
        assert factors.shape == (12,)
        assert factors.mean() == pytest.approx(1.0, abs=1e-12)
        assert (factors > 0).all()


@given(span=SPANS, seed=st.integers(0, 99), slope=st.floats(-0.5, 0.5))
def test_law_level_seasonality_and_growth_reproduce_the_number_of_orders(span, seed, slope):
    counts = counts_for(span, seed)
    factors = seasonality(counts + 1, span, slope)
    level = monthly_level(counts, span, factors, slope)
    model = level * span.exposure * factors[span.calendar_month] * np.exp(slope * span.years)
    assert model.sum() == pytest.approx(counts.sum(), rel=1e-12)


@pytest.mark.parametrize("rate", [-0.15, 0.0, 0.055, 0.3])
@pytest.mark.parametrize("last", [date(2031, 2, 14), date(2032, 5, 20), date(2033, 12, 31)])
def test_law_growth_is_exact_without_chance_whatever_the_seasonality_and_partial_months(rate, last):
    span = Span(date(2030, 1, 10), last)
    counts = expected_counts(span, 150.0, rate)
    found = growth(counts, span)
    assert found.rate == pytest.approx(rate, abs=1e-9)
    factors = seasonality(counts * 1000, span, found.slope)
    assert factors == pytest.approx(SHAPE, abs=0.002)
    assert monthly_level(counts, span, factors, found.slope) == pytest.approx(150.0, rel=1e-3)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("mean", [2.0, 60.0])
def test_against_scipy_the_full_poisson_regression_gives_the_same_slope_and_error(seed, mean):
    span = Span(date(2030, 3, 9), date(2031, 11, 20))
    counts = counts_for(span, seed, mean)
    seen = np.bincount(span.calendar_month, counts, 12) > 0
    columns = [(span.calendar_month == month).astype(float) for month in np.flatnonzero(seen)]
    design = np.column_stack([span.years, *columns])
    kept = seen[span.calendar_month]
    x, y, offset = design[kept], counts[kept], np.log(span.exposure[kept])

    def loss(beta):
        eta = x @ beta + offset
        return np.exp(eta).sum() - y @ eta, x.T @ (np.exp(eta) - y)

    start = np.r_[0.0, np.full(x.shape[1] - 1, np.log(mean))]
    best = optimize.minimize(loss, start, jac=True, method="BFGS", options={"gtol": 1e-7}).x
    fitted = np.exp(x @ best + offset)
    error = np.sqrt(np.linalg.inv(x.T @ (fitted[:, None] * x))[0, 0])
    freedom = int((np.bincount(span.calendar_month, minlength=12)[seen] - 1).sum()) - 1
    widened = max(1.0, np.sqrt(((y - fitted) ** 2 / fitted).sum() / freedom))
    found = growth(counts, span)
    assert found.slope == pytest.approx(best[0], abs=1e-5)
    assert found.slope_error == pytest.approx(error * widened, rel=1e-3)


def test_against_known_growth_the_95_percent_interval_covers_as_often_as_it_says():
    span = Span(date(2030, 1, 10), date(2031, 7, 20))
    mean = expected_counts(span, 150.0, 0.08)
    draws = np.random.default_rng(20_310_101).poisson(mean, (400, mean.size)).astype(float)
    found = [growth(row, span) for row in draws]
    inside = sum(abs(one.slope - np.log1p(0.08)) < 1.96 * one.slope_error for one in found)
    # 99.8 % of samples of 400 at 95 % coverage lie in this range; widening for bunched orders, off
    # below six degrees of freedom as here, could only raise it.
    low, high = stats.binom.ppf([0.001, 0.999], 400, 0.95)
    assert low <= inside <= high
    spread = np.std([one.slope for one in found])
    assert spread == pytest.approx(np.mean([one.slope_error for one in found]), rel=0.12)


@pytest.mark.parametrize(
    ("span", "counts", "reason"),
    [
        (Span(date(2030, 1, 1), date(2031, 1, 20)), np.full(13, 9.0), "12.6 months is shorter"),
        (Span(date(2030, 1, 1), date(2031, 2, 28)), np.r_[0, 0, np.full(10, 9.0), 0, 0], "no cal"),
        (
            Span(date(2030, 1, 1), date(2031, 2, 28)),
            np.r_[0, 0, np.full(10, 9.0), 5, 0],
            "the last",
        ),
        (
            Span(date(2030, 1, 1), date(2031, 2, 28)),
            np.r_[3, 1, np.full(10, 9.0), 0, 0],
            "the first",
        ),
    ],
)
def test_growth_says_why_it_cannot_be_told(span, counts, reason):
    found = growth(counts, span)
    assert found.rate is None
    assert found.quantile_range() is None
    assert reason in found.reason


def test_seasonality_of_few_orders_stays_at_the_shops_and_of_many_follows_the_counts():
    span = Span(date(2030, 1, 1), date(2031, 12, 31))
    flat = np.ones(24)
    assert seasonality(flat, span, 0.0, SHAPE) == pytest.approx(SHAPE)
    steep = np.tile(np.where(np.arange(12) < 6, 0.5, 1.5), 2)
    few, many = (seasonality(n * steep, span) for n in (8.0, 8000.0))
    assert many[[0, 11]] == pytest.approx([0.5, 1.5], abs=0.002)
    assert 0.5 < few[0] < 0.75 < 1.25 < few[11] < 1.5


def test_a_month_outside_the_span_keeps_the_prior():
    span = Span(date(2030, 1, 1), date(2030, 6, 30))
    factors = seasonality(np.array([10.0, 10, 10, 90, 90, 90]), span)
    assert np.ptp(factors[6:]) == 0
    assert factors[6] == pytest.approx(factors[:6].mean(), rel=1e-9)


@pytest.mark.parametrize("freedom", range(2, 12))
def test_against_scipy_the_95_percent_point_of_chi_square(freedom):
    assert _chi_square_95(freedom) == pytest.approx(stats.chi2.ppf(0.95, freedom), rel=0.01)


def test_growth_is_pooled_as_far_as_it_is_uncertain():
    def one(slope, error):
        return Growth(float(np.expm1(slope)), error, slope, error)

    whole = one(0.05, 0.01)
    alike = pooled_growths([one(0.04, 0.1), one(0.07, 0.1), one(0.05, 0.1)], whole)
    assert [round(group.slope, 9) for group in alike] == [0.05, 0.05, 0.05]
    apart = pooled_growths([one(-0.3, 0.02), one(0.4, 0.02), one(0.4, 5.0)], whole)
    assert apart[0].slope == pytest.approx(-0.3, abs=0.01)
    assert apart[2].slope == pytest.approx(0.05, abs=0.01)
    assert apart[2].slope_error < 1
    unknown = Growth(None, None, None, None, "too short")
    assert pooled_growths([unknown], whole)[0].slope == 0.05
    assert pooled_growths([whole], unknown) == (unknown,)


@settings(max_examples=30)
@given(seed=st.integers(0, 1000))
def test_law_a_pooled_growth_lies_between_the_groups_own_and_the_shops(seed):
    random = np.random.default_rng(seed)
    own = [
        Growth(float(np.expm1(g)), 0.1, float(g), float(e))
        for g, e in zip(random.normal(0, 0.3, 6), random.uniform(0.02, 0.5, 6), strict=True)
    ]
    whole = Growth(0.05, 0.02, float(np.log(1.05)), 0.02)
    for before, after in zip(own, pooled_growths(own, whole), strict=True):
        low, high = sorted((before.slope, whole.slope))
        assert low - 1e-12 <= after.slope <= high + 1e-12
        assert 0 < after.slope_error <= np.hypot(before.slope_error, whole.slope_error)


def test_refuses_a_span_out_of_order_and_days_outside_it():
    with pytest.raises(OrderBookError, match="must not lie before"):
        Span(date(2031, 1, 2), date(2031, 1, 1))
    span = Span(date(2031, 1, 1), date(2031, 1, 31))
    with pytest.raises(OrderBookError, match="1 orders, the first on 2031-02-01, lie outside"):
        span.counts([date(2031, 1, 5), date(2031, 2, 1)])
