"""Single cells of an order book: numbers, dates, sizes, flags, money."""

from datetime import date, datetime, timedelta

import pandas as pd
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from capex.errors import InputError, OrderBookError
from capex.study.orders.cells import (
    parse_flag,
    parse_length,
    parse_money,
    parse_quantity,
    parse_size,
)
from capex.study.orders.columns import column_mapping
from capex.study.orders.dates import date_order, parse_date
from capex.study.orders.numbers import decimal_marks, parse_plain_number
from capex.study.orders.sheet import UnreadableCell

EPOCH = datetime(1899, 12, 30)


@pytest.mark.parametrize("mark", [".", ","])
@pytest.mark.parametrize("gap", ["", "group", " ", "\u00a0", "\u202f", "'"])
@given(cents=st.integers(0, 10**9))
def test_law_a_number_written_in_any_notation_reads_back(mark, gap, cents):
    whole, rest = divmod(cents, 100)
    grouping = {"group": "," if mark == "." else "."}.get(gap, gap)
    text = f"{whole:,}".replace(",", grouping) + f"{mark}{rest:02}"
    assert decimal_marks({"price": [text]})["price"] == mark
    assert parse_plain_number("price", text, mark) == cents / 100


@pytest.mark.parametrize(
    "text", ["12.5.1", "1,23,4", "12a", "", "1e5", "٣", "--4", "1 2", ".", "1,"]
)
def test_refuses_what_is_no_number(text):
    with pytest.raises(InputError, match="price"):
        parse_plain_number("price", text, ".")


def test_the_column_settles_an_ambiguous_number_then_the_file_then_the_user():
    assert decimal_marks({"price": ["1.234", "0.5"]}) == {"price": "."}
    assert decimal_marks({"price": ["1.234"], "width": ["12,5"]}) == {"price": ",", "width": ","}
    assert decimal_marks({"price": ["1.234"]}, ",") == {"price": ","}
    assert decimal_marks({"price": ["1.234", "12,5", "1.5"]}) == {"price": None}
    with pytest.raises(OrderBookError, match=r"price: '1\.234' can be thousands or decimals"):
        decimal_marks({"price": ["1.234", "1.500"]})


def test_refuses_an_ambiguous_cell_where_the_column_holds_both_notations():
    assert parse_plain_number("price", "12,5", None) == 12.5
    with pytest.raises(InputError, match="holds both notations"):
        parse_plain_number("price", "1.234", None)


FORMS = {
    "%Y-%m-%d": "day first",
    "%Y/%m/%d": "month first",
    "%Y%m%d": "day first",
    "%d.%m.%Y": "day first",
    "%d/%m/%Y": "day first",
    "%m/%d/%Y": "month first",
    "%m-%d-%y": "month first",
    "%d %B %Y": "day first",
    "%d-%b-%y": "month first",
    "%b %d, %Y": "day first",
    "%a, %d %b %Y": "day first",
    "%Y-%m-%dT%H:%M:%S": "day first",
    "%d/%m/%Y %H:%M": "day first",
    "%m/%d/%Y %I:%M %p": "month first",
}


@pytest.mark.parametrize(("form", "order"), FORMS.items())
@given(day=st.dates(date(2000, 1, 1), date(2068, 12, 31)))
def test_against_strftime_every_form_of_date_reads_back(form, order, day):
    text = datetime(day.year, day.month, day.day, 15, 4).strftime(form)
    assert parse_date("date", text, order, EPOCH) == day


@given(day=st.dates(date(1990, 1, 1), date(2099, 12, 31)))
def test_against_pandas_day_numbers_are_those_of_a_spreadsheet(day):
    number = (pd.Timestamp(day) - pd.Timestamp("1899-12-30")).days
    assert parse_date("date", number, "day first", EPOCH) == day
    assert parse_date("date", f"{number}", "day first", EPOCH) == day
    assert parse_date("date", number + 0.75, "day first", EPOCH) == day


@given(days=st.lists(st.dates(date(2020, 1, 1), date(2030, 12, 31)), min_size=1))
def test_law_the_order_of_day_and_month_is_found_or_asked_never_swapped(days):
    for form, right in (("%d/%m/%Y", "day first"), ("%m/%d/%Y", "month first")):
        cells = [day.strftime(form) for day in days]
        if all(day.day <= 12 for day in days) and any(day.day != day.month for day in days):
            with pytest.raises(OrderBookError, match="state date_order"):
                date_order(cells)
            continue
        found = date_order(cells)
        assert [parse_date("date", cell, found, EPOCH) for cell in cells] == days
        assert found == right or all(day.day == day.month for day in days)


def test_refuses_a_column_with_both_orders_until_the_user_chooses():
    cells = ["03/25/2031", "25/03/2031", "04/05/2031"]
    with pytest.raises(OrderBookError, match="1 cells can only be day first and 1 only month"):
        date_order(cells)
    assert date_order(cells, "day first") == "day first"
    with pytest.raises(InputError, match="not a day of the calendar, read day first"):
        parse_date("date", cells[0], "day first", EPOCH)


def test_refuses_a_column_that_a_spreadsheet_converted_by_half():
    days = [date(2031, 1, 1) + timedelta(days=place) for place in range(120)]
    half = [
        datetime(day.year, day.day, day.month) if day.day <= 12 else day.strftime("%d/%m/%Y")
        for day in days
    ]
    with pytest.raises(OrderBookError, match="took days for months"):
        date_order(half)


@pytest.mark.parametrize(
    "cell", ["soon", "31/02/2031", "1/1/1831", True, 0, 200_000, None, "13 Foo 31"]
)
def test_refuses_what_is_no_date(cell):
    with pytest.raises(InputError, match=r"^date: "):
        parse_date("date", cell, "day first", EPOCH)


@pytest.mark.parametrize(
    ("text", "quantity"),
    [
        ("24 in", "24 inch"),
        ('24"', "24 inch"),
        ("24 1/2″", "24.5 inch"),
        ("24½ in", "24.5 inch"),
        ("1.2m", "1.2 metre"),
        ("600 MM", "600 millimetre"),
        ("60 cm.", "60 centimetre"),
        ("4' 6\"", "54 inch"),
        ("4 ft 6 in", "54 inch"),
        ("6'", "6 foot"),
        ("2 yd", "2 yard"),
        ("1,200 mm", "1.2 metre"),
    ],
)
def test_against_pint_a_length_with_its_own_unit(text, quantity):
    expected = pint.UnitRegistry(cache_folder=None).Quantity(quantity).to("m").magnitude
    assert parse_length("width", text, "ft", ".") == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    "cell", ["-300", 0, "0 mm", "200 m", 200_000, "wide", "1/0 in", None, True]
)
def test_refuses_a_side_out_of_bounds_with_its_bound_and_unit(cell):
    with pytest.raises(InputError, match=r"^width: "):
        parse_length("width", cell, "mm", ".")
    with pytest.raises(InputError, match=r"must be above 0 and at most 100 m \(read as -300 mm\)"):
        parse_length("width", "-300", "mm", ".")


def test_a_size_in_one_cell():
    assert parse_size("size", "24 x 36 in", None, ".") == pytest.approx((0.6096, 0.9144))
    assert parse_size("size", '24" × 3 ft', None, ".") == pytest.approx((0.6096, 0.9144))
    assert parse_size("size", "1,2 x 0,8 m", None, ",") == pytest.approx((1.2, 0.8))
    assert parse_size("size", "600*400", "mm", ".") == pytest.approx((0.6, 0.4))
    with pytest.raises(InputError, match="must be width x height"):
        parse_size("size", "A2", "mm", ".")


def test_flags_in_usual_forms():
    yes = ["yes", "Y", 1, "1", "x", "X", True, "TRUE", "ja", "✓", 1.0]
    no = ["no", "N", 0, "0", False, "false", None, "-", "nein", "none"]
    assert all(parse_flag("cut", "cut", cell) for cell in yes)
    assert not any(parse_flag("cut", "cut", cell) for cell in no)
    assert parse_flag("laminate", "laminate", "gloss")
    for cell in ("gloss", "?", 2, "maybe"):
        with pytest.raises(InputError, match="must be yes or no"):
            parse_flag("cut", "cut", cell)


def test_money_with_its_currency_and_pieces_with_their_word():
    assert parse_money("price", "$1,234.50", ".") == (1234.5, "USD")
    assert parse_money("price", "1 234,50 €", ",") == (1234.5, "EUR")
    assert parse_money("price", "CHF 80", ".") == (80.0, "CHF")
    assert parse_quantity("quantity", "1,200 pcs", ".") == 1200
    for cell in ("(120.00)", "-5", "12 USD EUR", "tbc", None, float("nan")):
        with pytest.raises(InputError, match=r"^price: "):
            parse_money("price", cell, ".")
    for cell in (0, -3, 2.5, "2.5", "a few", None):
        with pytest.raises(InputError, match=r"^quantity: "):
            parse_quantity("quantity", cell, ".")


def test_a_cell_without_a_value_is_refused_with_the_reason_by_every_reader():
    cell = UnreadableCell("merged cell", "is part of the merged cells A5:A9")
    readers = (
        lambda: parse_quantity("f", cell, "."),
        lambda: parse_money("f", cell, "."),
        lambda: parse_length("f", cell, "mm", "."),
        lambda: parse_size("f", cell, "mm", "."),
        lambda: parse_flag("f", "cut", cell),
        lambda: parse_date("f", cell, "day first", EPOCH),
    )
    for reader in readers:
        with pytest.raises(InputError, match="merged cells A5:A9"):
            reader()


def test_headers_are_guessed_with_confidence_reason_and_alternatives():
    mapping = column_mapping(
        ["Due date", "Order Date", "Job Type", "Quanity", "W (in)", "Height_mm", "Unit price",
         "Total", "Total", "Laminating cost", "Lam"]
    )  # fmt: skip
    found = {match.field: (match.column, match.confidence, match.unit) for match in mapping.matches}
    assert found == {
        "date": ("Order Date", 1.0, None),
        "type": ("Job Type", 1.0, None),
        "quantity": ("Quanity", 0.6, None),
        "width": ("W (in)", 1.0, "in"),
        "height": ("Height_mm", 1.0, "mm"),
        "laminate": ("Lam", 1.0, None),
        "price": ("Total", 1.0, None),
    }
    assert mapping.get("price").others == ("Total",)
    assert mapping.unused == ("Due date", "Unit price", "Total", "Laminating cost")


def test_the_users_columns_overrule_the_guess_and_can_be_given_again():
    header = ["Date", "Breite cm", "B2", "Price", "Net"]
    mapping = column_mapping(header, {"width": "breite CM", "price": "Net", "laminate": False})
    assert mapping.get("price").column == "Net"
    assert mapping.get("width").unit == "cm"
    assert mapping.get("laminate").answer is False
    assert column_mapping(header, mapping.choices()).choices() == mapping.choices()


@pytest.mark.parametrize(
    ("chosen", "message"),
    [
        ({"breadth": "W"}, "'breadth' is no field; the fields are date, type"),
        ({"width": "Wide"}, "width = 'Wide' is not in the file; the columns are 'Date', 'W', 'W'"),
        ({"width": "W"}, "stands over 2 columns"),
        ({"date": "Date", "type": "Date"}, "named for two fields"),
        ({"width": True}, "width needs a column name"),
    ],
)
def test_refuses_a_mapping_that_cannot_be(chosen, message):
    with pytest.raises(OrderBookError, match=message):
        column_mapping(["Date", "W", "W"], chosen)
