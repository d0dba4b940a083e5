"""Whole files: encodings, separators, notations, workbooks, and what is refused."""

import csv
import io
from datetime import datetime

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capex.errors import OrderBookError
from capex.study.orders import read_order_book

HEADER = ["Datum", "Art", "Menge", "Breite cm", "Höhe cm", "Druck", "Laminat", "Schnitt", "Preis"]
ROWS = [
    ["2031-01-28", "Café-Schild – groß", "1200", "60.5", "40", "ja", "", "x", "1234.5"],
    ["2031-02-03", "Banner", "2", "240", "100", "ja", "nein", "", "130"],
    ["2031-02-04", "Aufkleber; rund, klein", "400", "7.5", "7.5", "ja", "", "ja", "180.25"],
]


def written(rows, separator=",", decimal=".", encoding="utf-8", header=HEADER):
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=separator, lineterminator="\r\n")
    writer.writerow(header)
    for row in rows:
        places = (3, 4, 8)
        writer.writerow([c.replace(".", decimal) if k in places else c for k, c in enumerate(row)])
    return text.getvalue().encode(encoding)


def workbook(*tables, **pages):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in (*enumerate(tables), *pages.items()):
        page = book.create_sheet(str(name))
        for row in rows:
            page.append(row)
    return book


def saved(book):
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("decimal", [".", ","])
def test_law_the_notation_of_a_text_file_changes_nothing(encoding, separator, decimal):
    book = read_order_book(written(ROWS, separator, decimal, encoding))
    assert book.orders["type"].tolist() == [row[1] for row in ROWS]
    assert book.orders["width"].tolist() == pytest.approx([0.605, 2.4, 0.075])
    assert book.orders["price"].tolist() == [1234.5, 130.0, 180.25]
    assert book.orders["quantity"].tolist() == [1200, 2, 400]
    assert book.orders["row"].tolist() == [2, 3, 4]
    assert book.orders["laminate"].tolist() == [False, False, False]
    assert not book.unread


def test_a_workbook_and_a_text_file_of_the_same_orders_are_the_same():
    rows = [
        [datetime.fromisoformat(r[0]), r[1], int(r[2]), float(r[3]), float(r[4]),
         *(c or None for c in r[5:8]), float(r[8])]
        for r in ROWS
    ]  # fmt: skip
    one = read_order_book(saved(workbook([HEADER, *rows])))
    assert one.orders.equals(read_order_book(written(ROWS)).orders)


def test_title_rows_merged_cells_formulas_and_error_values_of_a_workbook():
    head = ["Ordered", "What", "Pcs", "W (in)", "H (in)", "Print?", "Lam", "Cut", "Total"]
    good = [datetime(2031, 1, 15), "banner", 1, 24, 36, "x", None, None, 100]
    book = workbook([["Orders 2031"], [], head, *([list(good) for _ in range(5)])])
    page = book["0"]
    page.merge_cells("A1:I1")
    page.merge_cells("A5:A6")
    page["I7"] = "=C7*100"
    page["C8"] = "#DIV/0!"
    page["C8"].data_type = "e"
    page["A12"].number_format = "0.00"  # formatted, never filled
    read = read_order_book(saved(book))
    assert read.header_row == 3
    assert read.row_count == 8
    assert read.orders["row"].tolist() == [4, 5]
    assert read.orders["width"].tolist() == pytest.approx([0.6096, 0.6096])
    reasons = {row.row_number: row.reason for row in read.unread}
    assert reasons[1] == "above the header row"
    assert reasons[2] == "blank row"
    assert "merged cells A5:A6" in reasons[6]
    assert "'=C7*100' is a formula without a stored result" in reasons[7]
    assert "'#DIV/0!' is an error value" in reasons[8]


def test_day_numbers_and_the_1904_calendar_of_a_workbook():
    book = workbook([HEADER, [46_000, "Banner", 1, 10, 10, 1, 0, 0, 5]])
    assert str(read_order_book(saved(book)).orders["date"][0].date()) == "2025-12-09"
    book.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904
    assert str(read_order_book(saved(book)).orders["date"][0].date()) == "2029-12-10"


def test_refuses_to_choose_among_worksheets():
    rows = [["2031-01-15", "Banner", 1, 10, 10, 1, 0, 0, 5]]
    book = saved(workbook(spring=[HEADER, *rows], autumn=[HEADER, *rows], notes=[["hello"]]))
    with pytest.raises(OrderBookError, match=r"several worksheets hold orders: .*autumn.*spring"):
        read_order_book(book)
    assert len(read_order_book(book, sheet="autumn").orders) == 1
    with pytest.raises(OrderBookError, match="no worksheet 'winter'; it has spring, autumn, notes"):
        read_order_book(book, sheet="winter")
    one = saved(workbook(notes=[["hello"]], spring=[HEADER, *rows]))
    assert read_order_book(one).source.endswith("worksheet spring")


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "is empty"),
        (b"\xd0\xcf\x11\xe0rest", "old binary or password-protected"),
        (b"PK\x03\x04broken", "not a readable XLSX workbook"),
        (b"hello\nworld\n", "no header row in its first 30 rows; row 1 holds hello"),
        (b"\x81\x00\x8d", "is not text in UTF-8 or Windows-1252"),
        (b"%PDF-1.7\n1 0 obj", "is neither a CSV nor an XLSX file"),
        (b"\xef\xbb\xbf \n<SVG width='1'/>", "is neither a CSV nor an XLSX file"),
        (written([]), "none of its 1 rows is an order"),
        (written([["", *ROWS[0][1:]]]), "none of its 2 rows is an order; row 2: no date"),
    ],
)
def test_refuses_a_file_that_is_no_order_book(content, message):
    with pytest.raises(OrderBookError, match=message):
        read_order_book(content)


@pytest.mark.parametrize("content", [
    b"<?xml version='1.0'?><svg>" + b"<path d='M 0,0 L 10,10'/>" * 300 + b"</svg>",
    b'{"date": 1, "price": 3}' * 60,
    b",".join(b"word%d" % number for number in range(200)),
    b"x" * 5000 + b"," + b"y" * 5000,
])  # fmt: skip
def test_a_refusal_repeats_little_of_what_is_no_order_book(content):
    with pytest.raises(OrderBookError) as refused:
        read_order_book(content)
    assert len(str(refused.value)) < 150
    assert "UnreadableCell" not in str(refused.value)


def test_signs_that_nobody_sees_are_left_out_of_what_an_order_is():
    row = [ROWS[0][0], f"\u202a{ROWS[0][1]}\u202c", *ROWS[0][2:]]
    assert read_order_book(written([row, *ROWS[1:]])).orders["type"][0] == ROWS[0][1]


def test_a_heading_in_angle_brackets_is_a_heading():
    with pytest.raises(OrderBookError, match="no column for quantity"):
        read_order_book(b"<date>,<price>,description\n2031-01-02,5,x\n")


def test_refuses_a_missing_file_and_an_unknown_encoding(tmp_path):
    with pytest.raises(OrderBookError, match=r"gone\.csv: cannot be opened"):
        read_order_book(tmp_path / "gone.csv")
    with pytest.raises(OrderBookError, match="no text encoding 'morse'"):
        read_order_book(written(ROWS), encoding="morse")


def test_refuses_a_missing_column_and_names_those_found():
    header = [*HEADER[:6], "Folie", HEADER[7], "Einzelpreis"]
    with pytest.raises(OrderBookError) as caught:
        read_order_book(written(ROWS, header=header))
    message = str(caught.value)
    assert "no column for laminate; price" in message
    assert "width = 'Breite cm'" in message
    assert "Not used: 'Folie', 'Einzelpreis'" in message
    book = read_order_book(
        written(ROWS, header=header), {"laminate": False, "price": "einzelpreis"}
    )
    assert book.orders["price"].sum() == 1544.75


@pytest.mark.parametrize(
    ("old", "new", "message", "choice"),
    [
        ("2031-01-28", "03/04/2031", "state date_order", {"date_order": "month first"}),
        ("Breite cm", "Breite", "state size_unit", {"size_unit": "cm"}),
        ("1234.5", "1.234", 'state decimal="."', {"decimal": ","}),
    ],
)
def test_refuses_to_guess_what_the_user_can_state(old, new, message, choice):
    rows = [["2031-01-28", "Banner", "2", "240", "100", "ja", "", "", "1234.5"]]
    content = written(rows).decode().replace(old, new).encode()
    with pytest.raises(OrderBookError, match=message):
        read_order_book(content)
    book = read_order_book(content, **choice)
    order = book.orders.iloc[0]
    assert (str(order["date"].date()), order["width"], order["price"]) == {
        "03/04/2031": ("2031-03-04", 2.4, 1234.5),
        "Breite": ("2031-01-28", 2.4, 1234.5),
        "1.234": ("2031-01-28", 2.4, 1234.0),
    }[new]


@pytest.mark.parametrize(
    ("choice", "message"),
    [
        ({"decimal": ";"}, "decimal: ';' must be"),
        ({"date_order": "year first"}, "date_order: 'year first' must be"),
        ({"size_unit": "ell"}, "size_unit: 'ell' is no unit of length"),
        ({"separator": "::"}, "separator '::' must be one character"),
        ({"sheet": "May"}, "is a text file and has no worksheet 'May'"),
    ],
)
def test_refuses_a_choice_that_does_not_exist(choice, message):
    with pytest.raises(OrderBookError, match=message):
        read_order_book(written(ROWS), **choice)


def test_broken_quotation_spoils_one_row_or_is_refused():
    lines = written(ROWS).decode().split("\r\n")
    lines.insert(2, '2031-02-01,"24" banner",1,10,10,ja,,,5')
    book = read_order_book("\n".join(lines).encode())
    assert [(row.row_number, row.reason.split(" (")[0]) for row in book.unread] == [
        (3, "quotation marks inside a cell are not doubled")
    ]
    assert book.orders["row"].tolist() == [2, 4, 5]
    lines[2] = '2031-02-01,"24 banner,1,10,10,ja,,,5'
    with pytest.raises(OrderBookError, match=r"row 3 .line 3. opens a quotation mark"):
        read_order_book("\n".join(lines).encode(), separator=",")


def test_currencies_far_dates_repeated_headers_and_ragged_rows_are_told():
    rows = [
        *([*ROWS[1][:8], "$130"] for _ in range(3)),
        [*ROWS[1][:8], "€130"],
        ["2013-02-03", *ROWS[1][1:]],
        HEADER,
        [*ROWS[1], "9"],
        ["", "Total", "", "", "", "", "", "", "520"],
        ["Summe", "", "", "", "", "", "", "", "520"],
        [*ROWS[1][:5], "nein", "ja", "nein", "130"],
        ["2031-02-30", "Banner", "-1", "0", "100", "perhaps", "", "", ""],
    ]
    book = read_order_book(written(rows))
    assert book.currency == "USD"
    assert "2 orders repeat another row in every field; they were kept" in book.notes
    reasons = {row.row_number: row.reason for row in book.unread}
    assert reasons[5] == "price: is in EUR; the book is in USD"
    assert "more than 10 years from the middle of the book, 2031-02-03" in reasons[6]
    assert reasons[7] == "the header row again"
    assert "10 cells under 9 headers" in reasons[8]
    assert reasons[9] == reasons[10] == "no date (a line of totals)"
    assert "neither is yes" in reasons[11]
    for word in ("2031-02-30", "-1", "Breite cm", "perhaps", "is missing"):
        assert word in reasons[12]
    even = [[*ROWS[1][:8], "$130"], [*ROWS[1][:8], "€130"]]
    with pytest.raises(OrderBookError, match="as many orders in EUR as in USD"):
        read_order_book(written(even))


def test_a_first_line_that_names_the_separator_is_no_row():
    book = read_order_book(b"sep=;\r\n" + written(ROWS, ";"))
    assert book.header_row == 1
    assert len(book.orders) == 3


def test_a_size_column_stands_for_width_and_height():
    content = (
        b"Date,Job,Qty,Size,Print,Lam,Cut,Price\n"
        b"2031-01-15,banner,1,24 x 36 in,y,,,10\n"
        b"2031-01-16,banner,1,big,y,,,10\n"
    )
    book = read_order_book(content)
    assert book.orders[["width", "height"]].to_numpy().tolist() == [pytest.approx([0.6096, 0.9144])]
    assert book.unread[0].row_number == 3


CELLS = [
    st.sampled_from(["2031-01-28", "2031-02-29", "", "soon", "2032-02-29"]),
    st.sampled_from(["Banner", "Aufkleber", "", "Total"]),
    st.sampled_from(["1", "400", "0", "-2", "many", ""]),
    st.sampled_from(["60", "7.5", "-1", "2 m", "wide", ""]),
    st.sampled_from(["60", "7.5", "0", "1e9", ""]),
    st.sampled_from(["ja", "nein", "", "?"]),
    st.sampled_from(["ja", "", "x"]),
    st.sampled_from(["ja", "", "0"]),
    st.sampled_from(["130", "1,234.50", "tbc", "-5", "$7", "€8", ""]),
]
ROW = st.one_of(st.tuples(*CELLS).map(list), st.just([""] * 9), st.just([]), st.just(HEADER))


@settings(max_examples=60, deadline=None)
@given(rows=st.lists(ROW, max_size=25), spoilt=st.booleans())
def test_law_every_row_is_the_header_an_order_or_unread(rows, spoilt):
    rows = [*rows, ["2031-02-04", *ROWS[1][1:]]] + ([[*ROWS[1], "x"]] if spoilt else [])
    content = written([["title"], *rows], header=HEADER)
    try:
        book = read_order_book(content)
    except OrderBookError as error:
        assert "as many orders in" in str(error)  # noqa: PT017
        return
    assert book.row_count == len(rows) + 2
    numbers = [*book.orders["row"], *(row.row_number for row in book.unread), book.header_row]
    assert sorted(numbers) == list(range(1, book.row_count + 1))
    assert all(row.reason for row in book.unread)


def test_a_column_without_dates_is_not_taken_for_the_day():
    text = (
        "Taken on;Invoiced;Kind;Qty;Width mm;Height mm;Print;Lam;Cut\n"
        "2031-02-28;370.85;Banners;2;2400;1000;y;;\n"
    )
    with pytest.raises(OrderBookError, match="no column for date; price"):
        read_order_book(text.encode())
    book = read_order_book(text.encode(), {"date": "Taken on", "price": "Invoiced"})
    assert book.orders["price"].tolist() == [370.85]
    dated = (
        text.replace("370.85", "2031-03-01")
        .replace("Taken on;", "Net;")
        .replace("2031-02-28", "370.85")
    )
    assert read_order_book(dated.encode()).mapping.get("date").column == "Invoiced"
