"""The surfaces through which a file comes in: what is handed over, and what takes it.

Each surface makes one hostile input from choices (`made`) and hands it to the code that a user's
input meets (`taken`), which returns what became of it. An input is bytes, so that it can be kept.
"""

import csv
import io
import random
import tomllib
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path

from stress import drawings, workbooks
from stress.mutations import bent_table, bent_text, bent_tree, hostile_text, toml_text

from capex.errors import CapexError, InputError
from capex.shopfloor.artwork import parse_artwork
from capex.shopfloor.cutting import contour_time
from capex.shopfloor.trial.readings import parse_readings
from capex.study import Study, StudyFile, data_folder
from capex.views.floor.trial_table import messages_by_cell, read_sheet
from capex.views.shop.order_book import _found_html, _preview_html, _reading
from capex.views.site.handlers import _imported

TESTS = Path(__file__).parents[1]
DATA = data_folder()


@dataclass(frozen=True)
class Surface:
    """A way in.

    `made` returns one input; `taken` returns what became of it and raises `CapexError` where it is
    refused; `handmade` make inputs written on purpose, by what they are, the largest last.
    """

    made: Callable[[random.Random], bytes]
    taken: Callable[[bytes], str]
    handmade: tuple[Callable[[], dict[str, bytes]], ...] = ()

    def named(self, name: str) -> bytes:
        """Return a handmade input; sets behind the one that holds it are not made."""
        for some in self.handmade:
            if name in (found := some()):
                return found[name]
        raise ValueError(f"no handmade input is called {name!r}")


# Study files

_TOML = (
    b"[", b"]", b"[[", b"]]", b"{", b"}", b"=", b"=\n", b"'''", b'"""', b'"', b"#", b"\n", b"\r",
    b"\x00",
    b"\xff", b"\xed\xa0\x80", b"\\u0000", b"\\ud800", b"nan", b"-inf", b"0x",
    b"1979-05-27T07:32:00Z", b"07:32:00",
    b"[shop]\n", b"[[jobs]]\n", b"shop.hours = 1\n", b"a.b.c.d = 1\n", b"[" * 500, b"{a=" * 200,
    b"99999-01-01",
    b"1" * 5000, b"1e99999", b'currency = "EUR"\n', b'currency = "usd"\n', b'"" = 1\n',
    b"[actuals]\n",
)  # fmt: skip


@cache
def study_bases() -> tuple[str, ...]:
    """Return the text of small studies, and of the demo last."""
    plain = (TESTS / "decision" / "plain_shop.toml").read_text(encoding="utf-8")
    return plain, (DATA / "studies" / "quenlow_year_on.toml").read_text(encoding="utf-8")


@cache
def study_trees() -> tuple[dict, ...]:
    """Return the same as tables; the small one with offers, artworks, a room and months too."""
    plain, demo = (tomllib.loads(text) for text in study_bases())
    months = [
        {"month": f"2027-{k:02}", "orders": 20, "sales": 900.0, "downtime": "4 h"} for k in (5, 6)
    ]
    full = plain | {"actuals": {"choice": next(iter(plain["alternatives"])), "months": months}}
    full["artworks"] = {"own": (DATA / "artwork" / "star.svg").read_text(encoding="utf-8")}
    full |= {name: demo[name] for name in ("room", "levers") if name in demo and name not in full}
    offers = {key: offer for key, offer in demo["offers"].items() if key.startswith("all_in_one")}
    full["offers"] = {key: {**offer, "machine": "all_in_one"} for key, offer in offers.items()}
    for offer in full["offers"].values():
        for name in ("trade_in_of", "trade_in"):
            offer.pop(name, None)
    Study.from_mapping(full)  # a base with a problem of its own would hide all others
    return full, demo


def _study_made(draws: random.Random) -> bytes:
    place = 0 if draws.random() < 0.97 else 1
    if draws.random() < 0.25:
        return bent_text(draws, study_bases()[place].encode(), _TOML)
    text = toml_text(bent_tree(draws, study_trees()[place]))
    return text.encode("utf-8", "surrogatepass") if draws.random() < 0.97 else text.encode(
        draws.choice(("utf-8-sig", "utf-16", "latin-1")), "replace")  # fmt: skip


def _study_handmade() -> dict[str, bytes]:
    plain = study_bases()[0]
    return {
        "nested arrays": b"a = " + b"[" * 100_000,
        "nested tables": b"[" + b"a." * 50_000 + b"b]",
        "dotted keys": b".".join([b"a"] * 5_000) + b" = 1",
        "inline tables": b"a = " + b"{a = " * 20_000 + b"1" + b"}" * 20_000,
        "a long number": b"a = " + b"1" * 1_000_000,
        "a huge integer": plain.replace("operators = 1.5", f"operators = 1{'0' * 400}").encode(),
        "a million keys": b"\n".join(b"k%d = 1" % k for k in range(300_000)),
        "ten thousand machines": (
            plain + "".join(f"\n[machines.m{k}]\nname = 3" for k in range(10_000))).encode(),
        "a thousand machines": (
            plain + "".join(f"\n[machines.m{k}]\nname = 3" for k in range(990))).encode(),
        "ten thousand months": (plain + "\n[actuals]\nchoice = 'x'\nmonths = ["
                                + "{month = '2027-05'}," * 10_000 + "]").encode(),
        "a long name": (f'shop_name = "{"x" * 15_000_000}"\n' + plain.partition("\n")[2]).encode(),
        "many wrong currencies": plain.replace("USD", "EUR", 1).encode(),
        "a long artwork": (plain + f"\n[artworks]\na = '{'<g>' * 1_000_000}'").encode(),
        "towers of powers": plain.replace('wage = "20 USD/h"',
        'wage = "20 USD/h**9**9**9"').encode(),
        "too large": b"#" * 17_000_000,
        "nothing": b"", "a NUL": b"\x00", "UTF-16": plain.encode("utf-16"),
        "a workbook": workbooks.zipped(workbooks.PARTS),
    }  # fmt: skip


def _study_taken(body: bytes) -> str:
    """Take a study file as the site's import does."""
    _imported("<b>file</b>.toml", body, "")
    return "saved"


# Order books

_SETTINGS = {"date_order": ("day first", "month first", "x"), "decimal": (".", ",", ";"),
             "size_unit": ("mm", "in", "parsec", "")}  # fmt: skip


@cache
def _rows(path: Path, count: int) -> list[list[str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return [row for row, _ in zip(csv.reader(file), range(count), strict=False)]


def _csv_text(draws: random.Random, rows: list[list[str]]) -> bytes:
    text = io.StringIO(newline="")
    mark = draws.choice((",", ",", ";", "\t", "|"))
    ends = draws.choice(("\n", "\n", "\r\n", "\r"))
    quoting = draws.choice((csv.QUOTE_MINIMAL, csv.QUOTE_MINIMAL, csv.QUOTE_ALL, csv.QUOTE_NONE))
    writer = csv.writer(text, delimiter=mark, lineterminator=ends, quoting=quoting, escapechar="\\")
    with suppress(csv.Error):
        writer.writerows(rows)
    said = (f"sep={mark}{ends}" if draws.random() < 0.05 else "") + text.getvalue()
    codecs = ("utf-8",) * 8 + (
        "utf-8-sig",
        "utf-16",
        "utf-16-le",
        "utf-32",
        "cp1252",
        "latin-1",
        "utf-7",
    )
    body = said.encode(draws.choice(codecs), "replace")
    if draws.random() < 0.15:
        body = bent_text(
            draws, body, (b'"', b'""', b"\n", b"\r", b"\x00", b"\xff\xfe", mark.encode(), b"\x1a")
        )
    return body


def _orders_made(draws: random.Random, workbook: bool) -> bytes:
    rows = bent_table(draws, _rows(DATA / "orders" / "quenlow_orders.csv", 24))
    if draws.random() < 0.1:
        rows = [["Orders", "", "2025"], [], *rows]
    body = workbooks.workbook(draws, rows) if workbook else _csv_text(draws, rows)
    chosen = ""
    if draws.random() < 0.3:
        said = {
            key: draws.choice(words) for key, words in _SETTINGS.items() if draws.random() < 0.5
        }
        fields = ("date", "type", "quantity", "width", "print", "cut", "price", "nonsense")
        for name in fields:
            if draws.random() < 0.15:
                columns = [cell for cell in (rows[0] if rows else []) if cell]
                said[name] = draws.choice((*columns, "= all", "= none", hostile_text(draws)))
        chosen = toml_text(said)
    return (
        len(chosen.encode("utf-8", "replace")).to_bytes(2, "big")
        + chosen.encode("utf-8", "replace")
        + body
    )


def _orders_taken(body: bytes) -> str:
    """Take an order book as the page does: columns, orders, job types, and what is shown."""
    length = int.from_bytes(body[:2], "big")
    chosen: dict[str, str] = {}
    with suppress(ValueError):
        said = tomllib.loads(body[2 : 2 + length].decode("utf-8", "replace"))
        chosen = {key: value for key, value in said.items() if isinstance(value, str)}
    _columns, _matches, found = _reading(body[2 + length :], chosen)
    if isinstance(found, CapexError):
        raise found
    _found_html("book", *found)
    _preview_html(*found)
    return "read"


def _letters(number: int) -> str:
    """Return a word of its own for a number."""
    return "".join(chr(97 + number // 26**place % 26) for place in range(3)) + "x"


def _plain_books() -> dict[str, bytes]:
    """Return order books as text that are large or odd throughout."""
    head, *rows = _rows(DATA / "orders" / "quenlow_orders.csv", 24)
    line = ",".join(rows[3])
    many = "\n".join([",".join(head), *(f"{k},{line.partition(',')[2]}" for k in range(59_000))])
    kinds = "\n".join([",".join(head), *(
        f"{k},5/{k % 28 + 1}/2025,kind {_letters(k)},words,1,600,400,yes,no,yes,50"
        for k in range(17_000))])  # fmt: skip
    foreign = "\n".join([",".join(head), *(
        f"{k},5/13/2025,Banner,x,1,600,400,yes,no,yes,{'$' if k % 5 else '€'}50"
        for k in range(59_000))])  # fmt: skip
    books = {
        "many rows": many, "many kinds": kinds, "a fifth foreign": foreign,
        "four million short rows": "a\n" * 4_000_000, "one long row": "a;" * 4_000_000,
        "a wide heading": ",".join(f"heading number {k}" for k in range(20_000)) + "\n1\n",
        "long headings": ",".join(["width of the height of the price " * 800] * 20) + "\n1\n",
        "an open quotation mark": ",".join(head) + '\n"' + "x\n" * 2_000_000,
        "many broken rows": ",".join(head) + '\n' + 'a"b"c,"d"e\n' * 300_000,
        "a long cell": ",".join(head) + "\n" + "x" * 7_000_000,
        "a long number": ",".join(head) + "\n" + ",".join([*rows[0][:4], "9" * 5_000,
        *rows[0][5:]]),
        "separators": "sep=\n\n", "a long separator": "sep=abc\na,b",
        "NULs": "\x00" * 1000, "nothing": "", "blanks": " \n" * 1000,
    }  # fmt: skip
    return {name: text.encode() for name, text in books.items()}


def _of_columns(bodies: Callable[[], dict[str, bytes]]) -> dict[str, bytes]:
    """Return order books for which no column was chosen."""
    return {name: b"\x00\x00" + body for name, body in bodies().items()}


# Drawings


@cache
def _drawings() -> tuple[bytes, ...]:
    return tuple(path.read_bytes() for path in sorted((DATA / "artwork").glob("*.svg")))


def _artwork_taken(body: bytes) -> str:
    """Take a drawing as the page does, and time a knife along it."""
    drawn = parse_artwork(body, "cut <line>.svg")
    seconds = float(contour_time(drawn.contour, speed=1.0, acceleration=10.0))
    assert 0 < drawn.width + drawn.height < 300
    assert drawn.contour.path_length > 0
    assert 0 < seconds < float("inf")
    return "read"


# Readings of a time trial


@cache
def demo() -> Study:
    return StudyFile.read(DATA / "studies" / "quenlow.toml").study


def _trial_made(draws: random.Random) -> bytes:
    rows = bent_table(draws, _rows(DATA / "trials" / "quenlow_trial.csv", 14))
    return workbooks.workbook(draws, rows) if draws.random() < 0.2 else _csv_text(draws, rows)


def _trial_taken(body: bytes) -> str:
    """Take readings as the page does: the table, its rows, and a message at each bad one."""
    sheet = read_sheet("read<i>ngs.csv", body)
    found = parse_readings(sheet.rows, demo(), source=sheet.name, first_row=sheet.first_row)
    messages_by_cell(found, (), sheet)
    return "read"


_WORKBOOKS = (workbooks.claims, workbooks.bombs)
SURFACES: dict[str, Surface] = {
    "study": Surface(_study_made, _study_taken, (_study_handmade,)),
    "orders-csv": Surface(partial(_orders_made, workbook=False), _orders_taken,
                          (partial(_of_columns, _plain_books),)),
    "orders-xlsx": Surface(partial(_orders_made, workbook=True), _orders_taken,
                           tuple(partial(_of_columns, each) for each in _WORKBOOKS)),
    "artwork": Surface(lambda draws: drawings.drawing(draws, draws.choice(_drawings())),
                       _artwork_taken, (drawings.handmade,)),
    "trial": Surface(_trial_made, _trial_taken, (_plain_books, *_WORKBOOKS)),
}  # fmt: skip


def refusal(error: CapexError) -> str:
    """Return the kind of a message: without the values of this one input."""
    bound = error.bound if isinstance(error, InputError) else ""
    problems = getattr(error, "problems", ())
    text = bound or (problems[0].bound if problems else str(error))
    return f"{type(error).__name__}: {text[:300]}"
