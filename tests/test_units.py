"""Units at the edges: published conversion factors, laws of the round trip, clear refusals."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from capex.errors import CurrencyError, UnitError
from capex.units import KINDS, parse_number, quantity_text, shown_number
from capex.views.wording import Currency, money_text

# NIST Special Publication 811 (2008), Guide for the Use of the International System of Units,
# appendix B.8: factors marked bold there are exact. From memory; each follows from the
# international yard of 1959 and the standard acceleration of free fall.
FACTORS = [
    ("1 in", "length", 0.0254),
    ("1 ft", "length", 0.3048),
    ("1 in/s", "speed", 0.0254),
    ("1 ft/min", "feed_speed", 5.08e-3),
    ("1 ft²/h", "area_rate", 0.3048**2 / 3600),
    ("1 m²/h", "area_rate", 1 / 3600),
    ("1 g", "acceleration", 9.80665),
    ("1 lb", "mass", 0.45359237),
    ("1 lbf", "force", 4.4482216152605),
    ("1 kWh", None, 3.6e6),
    ("1 L", "volume", 1e-3),
    ("1 mL/m²", "coverage", 1e-6),
    ("1 mi", "distance", 1609.344),
]


@pytest.mark.parametrize(("text", "kind", "factor"), [f for f in FACTORS if f[1]])
def test_published_conversion_factors(text, kind, factor):
    assert parse_number(text, kind) == pytest.approx(factor, rel=1e-14)


def test_published_energy_price_counts_the_kilowatt_hour():
    assert parse_number("0.13 USD/kWh", "energy_price") == pytest.approx(0.13 / 3.6e6, rel=1e-14)


@pytest.mark.parametrize("kind", [name for name, kind in KINDS.items() if "money" not in kind.unit])
@given(value=st.floats(min_value=1e-6, max_value=1e9))
def test_law_what_is_shown_reads_back(kind, value):
    for system in ("metric", "us_customary"):
        text = quantity_text(value, kind, system, digits=15)
        assert parse_number(text, kind) == pytest.approx(value, rel=1e-9)


@given(value=st.floats(min_value=1e-6, max_value=1e9))
def test_law_shown_numbers_scale(value):
    assert shown_number(2 * value, "length", "us_customary") == pytest.approx(
        2 * shown_number(value, "length", "us_customary")
    )


@pytest.mark.parametrize(
    ("value", "kind", "says"),
    [
        ("3", "length", "has no unit"),
        (3, "length", "has no unit"),
        ("3 kg", "length", "another kind"),
        ("1.5 in/rad/dB", "small_length", "another kind"),
        ("wide", "length", "does not begin with a number"),
        ("", "number", "does not begin with a number"),
        ("3 furlong_of_doom", "length", "unit that cannot be read"),
        ("1e999 m", "length", "not a finite number"),
        (float("nan"), "number", "not a finite number"),
        (True, "number", "needs a value"),
        (None, "number", "needs a value"),
        ("3 m; import os", "length", "unit that cannot be read"),
        ("3 " + "m" * 200, "length", "is 202 characters long, at most 80"),
        ("9" * 20_000, "money", r"'9{20}…' is 20,000 characters long, at most 80"),
        ("9" * 81, "money", "is 81 characters long, at most 80"),
        ("3 °C", "length", "unit"),
    ],
)
def test_refuses_what_is_no_quantity(value, kind, says):
    with pytest.raises(UnitError, match=says) as caught:
        parse_number(value, kind, field="machines.x.length", currency="USD")
    assert "machines.x.length" in str(caught.value)
    assert KINDS[kind].example in str(caught.value)


def test_refuses_another_currency_and_gives_examples_in_the_study_s_own():
    with pytest.raises(CurrencyError, match="is in EUR; this study counts in USD"):
        parse_number("3 EUR/h", "wage", currency="USD")
    with pytest.raises(UnitError, match="needs a value such as 22 GBP/h"):
        parse_number("3 kg", "wage", currency="GBP")
    with pytest.raises(UnitError, match="needs a value such as 120 %"):
        parse_number("much", "number", example="120 %")


def test_reads_money_in_the_studys_currency():
    assert parse_number("$22/h", "wage", currency="USD") == pytest.approx(22 / 3600)
    assert parse_number("22 EUR/h", "wage", currency="EUR") == pytest.approx(22 / 3600)
    assert parse_number("130 GBP/m²/year", "rent", currency="GBP") == pytest.approx(130)


SQUARE_FEET = ["ft²", "ft2", "ft^2", "ft**2", "sq ft", "sqft", "sq. ft.", "sq  ft", "square feet"]
SQUARE_METRES = ["m²", "m2", "m^2", "m**2", "sq m", "sqm", "sq. m"]


@pytest.mark.parametrize("words", [*SQUARE_FEET, *SQUARE_METRES])
@pytest.mark.parametrize(
    ("before", "after", "kind"),
    [("", "", "area"), ("", "/h", "area_rate"), ("mL/", "", "coverage"), ("USD/", "", "area_price"),
     ("USD/", "/year", "rent"), ("$/", "/year", "rent")],
)  # fmt: skip
def test_areas_are_read_as_people_write_them(words, before, after, kind):
    one = "ft²" if words in SQUARE_FEET else "m²"
    wanted = parse_number(f"7 {before}{one}{after}", kind, currency="USD")
    assert parse_number(f"7 {before}{words}{after}", kind, currency="USD") == wanted


def test_other_powers_by_digits_and_what_is_none():
    assert parse_number("15 m/s2", "acceleration") == parse_number("15 m/s²", "acceleration")
    assert parse_number("2 m3", "volume") == 2.0
    for text in ("3 ft22", "3 ft2.5", "3 xft2", "3 ft2x", "3 sqfeet2", "3 sq ft2"):
        with pytest.raises(UnitError):
            parse_number(text, "area")


@pytest.mark.parametrize(
    "text", ["12 USD/foot2/yeer", "12 USD/ft?/year", "12 USD/ell/year", "12 USD"]
)
def test_a_wrong_unit_is_told_in_the_words_and_currency_of_the_study(text):
    with pytest.raises(UnitError) as caught:
        parse_number(text.replace("USD", "EUR"), "rent", currency="EUR")
    assert "money" not in str(caught.value)
    assert "needs a value such as 130 EUR/m²/year or 12 EUR/ft²/year" in str(caught.value)


@pytest.mark.parametrize("kind", [kind for kind in KINDS.values() if "or" in kind.example.split()])
def test_every_example_reads(kind):
    values = [parse_number(each, kind.name, currency="USD") for each in kind.example.split(" or ")]
    assert min(values) > 0


@pytest.mark.parametrize(
    "text",
    ["18,900", "$18,900", "USD 18,900", "18,900 USD", "18 900", "18\u00a0900", "18\u202f900 USD",
     "18900 dollars", "18.9k", "$18.9k", "18.9 k USD", "$18,900 USD", "18,900.00", "18900"],
)  # fmt: skip
def test_an_amount_is_read_as_people_write_it(text):
    assert parse_number(text, "money", currency="USD") == 18900.0


def test_an_amount_below_nothing_reads_as_it_is_printed():
    for text in ("−\u2060$1,200", "-$1,200", "$-1,200", "−1,200 USD"):
        assert parse_number(text, "money", currency="USD") == -1200.0


@given(value=st.integers(-(10**9), 10**9))
def test_law_an_amount_that_is_printed_reads_back(value):
    for code in ("USD", "EUR", "CHF"):
        text = money_text(value, Currency(code), 10)
        assert parse_number(text, "money", currency=code) == value, text


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        ("18,9", "money", "must be written 18.9: a comma only groups thousands, as in 18,900"),
        ("$18,90", "money", "must be written 18.90: a comma"),
        ("1,37 m", "length", "must be written 1.37: a comma only groups thousands, as in 1,370"),
        ("0,125", "fraction", "must be written 0.125"),
        ("1234,567 m", "length", "must be written 1234.567"),
        ("1,23,456", "money", "commas that group no thousands"),
        ("18,900,5", "money", "commas that group no thousands"),
        ("1.234.567", "money", "has several points"),
        ("18.900", "money", "may be 18900 or 18.9: write it as one of them"),
        ("$18.900", "money", "may be 18900 or 18.9"),
        ("18 90", "money", "unit that cannot be read"),
        ("1 2345 m", "length", "unit that cannot be read"),
        ("18.9kg", "money", "another kind"),
        ("5k m", "length", "unit"),
    ],
)
def test_a_number_that_can_be_read_in_two_ways_is_refused(text, kind, says):
    with pytest.raises(UnitError, match=re.escape(says)):
        parse_number(text, kind, currency="USD")


def test_three_decimals_are_read_where_no_thousands_can_be_meant():
    assert parse_number("1.250 m", "length") == 1.25
    assert parse_number("0.125", "money") == 0.125
    assert parse_number("1234.567", "money") == 1234.567
    assert parse_number("2.125 USD/m²", "area_price", currency="USD") == 2.125


def test_dollars_are_no_euros():
    for text in ("$5", "5 dollars", "5k USD", "USD 5"):
        with pytest.raises(CurrencyError, match="is in USD; this study counts in EUR"):
            parse_number(text, "money", currency="EUR")
