"""One round: every problem of a study file at once, in its order, each mistake once, in words."""

from __future__ import annotations

import tomllib

import pytest

from capex.errors import InputError, StudyError
from capex.study import Study, data_folder
from capex.study.parts import Unparsed

DEMO = data_folder() / "studies" / "quenlow.toml"


@pytest.fixture
def mapping() -> dict:
    return tomllib.loads(DEMO.read_text(encoding="utf-8"))


def put(mapping: dict, **changes: object) -> None:
    """Put entries into a mapping; ``a__b=value`` puts a value at ``a.b``."""
    for path, value in changes.items():
        *way, last = path.split("__")
        place = mapping
        for name in way:
            place = place[int(name)] if isinstance(place, list) else place[name]
        if value is None:
            del place[last]
        else:
            place[int(last) if isinstance(place, list) else last] = value


def problems(mapping: dict) -> list:
    with pytest.raises(StudyError) as caught:
        Study.from_mapping(mapping)
    return list(caught.value.problems)


def paths(mapping: dict) -> list[str]:
    return [problem.path for problem in problems(mapping)]


def test_fields_and_rules_between_them_are_reported_in_one_round_in_file_order(mapping):
    put(
        mapping,
        shop__hours__overnight_per_day="17 h",
        shop__people__wage="x",
        money__horizon=30,
        money__tax__regime="moon",
        alternatives__staged__machines__1__training="x",
        alternatives__staged__machines__1__sold_in_month=12,
        alternatives__separate__machines__0__machine="vanished",
        alternatives__separate__machines__3__sale_proceeds=None,
        jobs__banners__price="x",
        jobs__banners__film="paper",
        jobs__banners__laminated=0.5,
        machines__laminator__laminating=None,
        machines__laminator__colour="red",
    )
    assert paths(mapping) == [
        "shop.hours.overnight_per_day",
        "shop.people.wage",
        "money.tax.regime",
        "alternatives.separate.machines.0.machine",
        "alternatives.separate.machines.3.sale_proceeds",
        "alternatives.staged.machines.1.month",
        "alternatives.staged.machines.1.training",
        "alternatives.staged.machines.1.sold_in_month",
        "jobs.banners.film",
        "jobs.banners.price",
        "jobs.banners.laminated",
        "machines.laminator",
        "machines.laminator.colour",
    ]


@pytest.mark.parametrize(
    ("changes", "only"),
    [
        # a name whose own table is broken is no unknown name
        ({"machines__mid_all_in_one__printing__print_width": "x"},
         "machines.mid_all_in_one.printing.print_width"),
        ({"machines__mid_all_in_one": 5}, "machines.mid_all_in_one"),
        ({"inks__solvent__price": "x"}, "inks.solvent.price"),
        ({"films__banner__roll_width": "x"}, "films.banner.roll_width"),
        ({"films": None}, "films"),
        ({"films": {}}, None),
        ({"machines": {}}, "machines"),
        ({"shop": None}, "shop"),
        ({"money": 3}, "money"),
        ({"alternatives__keep": 5}, "alternatives.keep"),
        ({"alternatives__keep__baseline": "yes"}, "alternatives.keep.baseline"),
        ({"money__horizon": "x"}, "money.horizon"),
        ({"jobs__banners__film": 5}, "jobs.banners.film"),
        ({"jobs__banners__bought_in_price": "x"}, "jobs.banners.bought_in_price"),
        ({"shop__seasonality__3": "x"}, "shop.seasonality.3"),
        ({"shop__hours__hours_per_day": "x"}, "shop.hours.hours_per_day"),
        ({"currency": "dollars"}, "currency"),
        ({"currency": None}, "currency"),
        # numbers in per cent, typed without the sign
        ({"machines__mid_all_in_one__resale_by_year": [65]},
         "machines.mid_all_in_one.resale_by_year.0"),
        ({"machines__mid_all_in_one__resale_by_year": "65 %"},
         "machines.mid_all_in_one.resale_by_year"),
        ({"machines__mid_all_in_one__resale_by_year": []},
         "machines.mid_all_in_one.resale_by_year"),
    ],
)  # fmt: skip
def test_one_mistake_is_one_problem(mapping, changes, only):
    put(mapping, **changes)
    if only is not None:
        assert paths(mapping) == [only]
    else:  # here the names that lead nowhere are the mistakes
        assert all("known: none" in problem.bound for problem in problems(mapping))


def test_resale_in_per_cent_is_read(mapping):
    put(mapping, machines__mid_all_in_one__resale_by_year=["65 %", "50 %"])
    found = Study.from_mapping(mapping).machines["mid_all_in_one"].resale_by_year
    assert [share.likely for share in found] == pytest.approx([0.65, 0.5])


def test_a_few_amounts_in_another_currency_are_named_each_many_are_one_problem(mapping):
    put(mapping, shop__people__wage="22 EUR/h", inks__solvent__price="130 EUR/L")
    few = problems(mapping)
    assert [problem.path for problem in few] == ["shop.people.wage", "inks.solvent.price"]
    assert all(problem.bound == "is in EUR; this study counts in USD" for problem in few)
    put(mapping, currency="GBP", money__exchange_rates={})
    dollars, euros = sorted(problems(mapping), key=lambda problem: "in EUR" in problem.bound)
    assert dollars.path == euros.path == "currency"
    assert dollars.value == "GBP"
    assert "14 of its amounts are in USD" in dollars.bound
    assert dollars.bound.count(".price") + dollars.bound.count(".service") == 12
    assert "shop.people.wage, inks.solvent.price" in euros.bound


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"levers": {"demand": "x"}}, "needs a value such as 1.2 or 120 %"),
        ({"jobs__banners__orders_per_month": "x"}, "needs a value such as 1.2"),
        ({"shop__people__wage": "-1 USD/h"}, "must be at least 0 USD/h"),
        ({"shop__people__wage": {"low": "3 USD/h", "likely": "2 USD/h", "high": "4 USD/h"}},
         "must lie between low and high: 3 USD/h to 4 USD/h"),
        ({"currency": "Dollar"}, "three capital letters, such as USD"),
        ({"money__exchange_rates": {"euro": 1}}, "three capital letters, such as USD"),
        ({"jobs__banners__film": "Matt film"}, "small letters, digits and underscores"),
        ({"jobs__banners__may_panel": "yes"}, "must be true or false"),
        ({"jobs__banners__name": " "}, "must not be empty"),
        ({"jobs__banners__name": 5}, "must be a text"),
        ({"money__start": "soon"}, "must be a date such as 2027-01-01"),
        ({"money__convention": "daily"}, "must be 'monthly' or 'year_end'"),
        ({"money__discount_rate": 8}, "8 without a unit means 800%: write '8 %' for 8 per cent"),
        ({"money__discount_rate": {"low": 0.08, "likely": 0.1, "high": 14}},
         "14 must be at most 100%; 14 without a unit means 1,400%"),
        ({"money__tax__rate": 25}, "write '25 %'"),
        ({"money__loan__annual_rate": 9}, "write '9 %'"),
        ({"jobs__banners__growth": 5}, "5 without a unit means 500%"),
        ({"levers": {"growth_shift": "150 %"}}, "must be at most 100%"),
        ({"shop__seasonality__3": -1}, "shop.seasonality.3 (seasonality, April): -1 must be"),
        ({"machines__laminator__resale_by_year": ["150 %"]}, "resale by year, year 1)"),
        ({"alternatives__staged__machines__1__month": 90},
         "(Staged: all-in-one, then a cutter: machines, entry 2 (Mid contour cutter), month)"),
    ],
)  # fmt: skip
def test_messages_say_what_is_wanted_in_words(mapping, changes, says):
    put(mapping, **changes)
    with pytest.raises(StudyError) as caught:
        Study.from_mapping(mapping)
    assert says in str(caught.value)
    assert "money/" not in str(caught.value)
    assert "^[" not in str(caught.value)


def test_a_replaced_value_out_of_bounds_is_shown_with_its_unit(mapping):
    study = Study.from_mapping(mapping)
    for scenario, says in (
        ({"money.discount_rate": [0.1, 8.0]}, "'800%' must be at most 100%"),
        ({"shop.people.wage": [-1 / 3600, 1.0]}, "'-1 USD/h' must be at least 0 USD/h"),
        ({"money.horizon": [60.0, 50.5]}, "'50.5 months' must be a whole number"),
    ):
        with pytest.raises(InputError) as caught:
            study.replaced(scenario)
        assert says in str(caught.value)


def test_a_tax_regime_says_what_its_method_needs(mapping):
    regime = {"title": "T", "jurisdiction": "J", "source": "s", "as_of": "2026-01-01"}
    mapping["tax_regimes"] = {
        "one": tomllib.loads('as_of = 2026-01-01') | {
            name: text for name, text in regime.items() if name != "as_of"
        } | {"method": "declining_balance"},
        "two": tomllib.loads('as_of = 2026-01-01') | {
            name: text for name, text in regime.items() if name != "as_of"
        } | {"method": "table", "fractions": [0.6, 0.6]},
    }  # fmt: skip
    assert [str(problem) for problem in problems(mapping)] == [
        "tax_regimes.one.life: is missing, as the method is declining_balance",
        "tax_regimes.one.multiple: is missing, as the method is declining_balance",
        "tax_regimes.two.fractions: 1.2 must add up to at most 1",
    ]


def test_a_whole_part_never_lacks_a_field(mapping):
    study = Study.from_mapping(mapping)
    with pytest.raises(AttributeError) as caught:
        _ = study.colour
    assert not isinstance(caught.value, Unparsed)


@pytest.mark.parametrize(
    ("path", "said"),
    [
        ("money__loan__rate", "is not a known key; did you mean annual_rate?"),
        ("shop__people__wages", "is not a known key; did you mean wage?"),
        ("machines__laminator__prise", "is not a known key; did you mean price?"),
        ("alternatives__staged__machines__1__mnth", "is not a known key; did you mean month?"),
        ("currencies", "is not a known key; did you mean currency?"),
        ("jobs__banners__zzz", "is not a known key"),
    ],
)
def test_an_unknown_key_comes_with_the_nearest_known_one_of_its_part(mapping, path, said):
    put(mapping, **{path: 9})
    (problem,) = problems(mapping)
    assert (problem.path, problem.bound) == (path.replace("__", "."), said)


def test_the_bound_of_a_factor_says_that_it_has_no_unit(mapping):
    put(mapping, levers={"demand": -1})
    (problem,) = problems(mapping)
    assert problem.bound == "must be greater than 0, a plain number without unit"


@pytest.mark.parametrize("table", ["jobs", "alternatives", "offers", "films", "inks"])
def test_two_of_one_name_are_refused_whatever_its_capitals(mapping, table):
    first, second = list(mapping[table].values())[:2] if len(mapping[table]) > 1 else (None, None)
    if first is None:
        first = next(iter(mapping[table].values()))
        second = mapping[table]["another"] = dict(first)
    second["name"] = f"  {first['name'].upper().replace(' ', '  ')}"
    with pytest.raises(StudyError) as caught:
        Study.from_mapping(mapping)
    (problem,) = caught.value.problems
    assert problem.path.startswith(f"{table}.")
    assert problem.path.endswith(".name")
    assert "is the name of another" in problem.bound
