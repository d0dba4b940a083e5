"""Make the invented order book of the demo shop, Quenlow Graphics in Ossleford Haven.

Everything here is invented: customers, orders, prices. Run it to write
``orders/quenlow_orders.csv`` and ``orders/quenlow_orders.xlsx`` beside this file; the same seed
gives the same bytes. The seed is one whose book shows about the growth it was made with.

The rows follow a Poisson process with the demo's seasonality and each job type's growth. The words
are a shop's own: capitals, plurals and slips as they come, a few types too rare to count, and a
handful of rows that cannot be read, on purpose.

Only ``random.Random.random`` is drawn from, whose sequence Python keeps from version to version.
"""

from __future__ import annotations

import csv
import io
import math
import os
import random
import zipfile
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from statistics import NormalDist
from typing import TypeVar

# lxml, where it is installed, writes the same XML in other bytes
os.environ["OPENPYXL_LXML"] = "False"

from openpyxl import Workbook

T = TypeVar("T")

SEED = 20_260_615
FIRST, LAST = date(2025, 5, 12), date(2026, 10, 16)
WORKBOOK_FROM = date(2026, 8, 1)
STAMP = datetime(2026, 10, 19, 8, 0)
SEASONALITY = (0.72, 0.80, 0.98, 1.10, 1.22, 1.18, 1.00, 0.86, 1.12, 1.14, 1.04, 0.84)
HOLIDAYS = {(1, 1), (12, 24), (12, 25), (12, 26), (12, 31)}


@dataclass(frozen=True)
class Kind:
    """One job type: how often, what it is called, and its usual piece."""

    texts: tuple[str, ...]
    orders_per_month: float
    quantity: float
    sizes_mm: tuple[tuple[int, int], ...]
    printed: bool
    laminated: float
    cut: float
    price: float
    growth: float
    jobs: tuple[str, ...]


KINDS = (
    Kind(("Sticker sets", "Sticker sets", "sticker sets", "STICKER SETS", "Sticker set"),
         26, 400, ((75, 75), (75, 75), (60, 90), (50, 50), (100, 70)), True, 0.04, 1.0, 180, 0.10,
         ("jar labels", "round stickers", "stickers for takeaway bags", "logo decals")),
    Kind(("Fleet badges", "fleet badges", "Fleet Badges", "Fleet badge"),
         18, 40, ((300, 200), (300, 200), (250, 180), (400, 220)), True, 0.97, 1.0, 260, 0.08,
         ("fleet badges, door pairs", "badges for hire vans", "fleet badge numbers 1 to 40")),
    Kind(("Part-vehicle graphics", "part vehicle graphics", "Part vehicle graphics"),
         14, 6, ((900, 1100), (900, 1100), (800, 1000), (1200, 900)), True, 0.95, 1.0, 420, 0.06,
         ("van sides and back doors", "trailer sides", "car doors, both sides")),
    Kind(("Full wrap panels", "full wrap panels", "FULL WRAP PANELS"),
         5, 5, ((1300, 3700), (1300, 3700), (1250, 3200)), True, 1.0, 0.0, 1150, 0.05,
         ("full wrap, long van", "full wrap, camper", "wrap panels for bus rear")),
    Kind(("Banners", "banners", "Banner", "BANNERS"),
         34, 2, ((2400, 1000), (2400, 1000), (3000, 1000), (1800, 900)), True, 0.0, 0.0, 130, 0.02,
         ("banner, eyelets all round", "mesh banner for scaffold", "opening banner")),
    Kind(("One-way window film", "one way window film", "One-Way Window Film"),
         8, 4, ((1250, 1400), (1250, 1400), (1000, 1800)), True, 1.0, 0.0, 330, 0.04,
         ("window film, shop front", "one-way film for showroom glass")),
    Kind(("Wall graphics", "wall graphics", "Wall graphic"),
         4, 5, ((1250, 2400), (1250, 2400), (1200, 2700)), True, 0.0, 0.0, 560, 0.08,
         ("wall mural in drops", "wall graphics for canteen")),
    Kind(("Cut-only lettering", "cut only lettering", "Cut-only Lettering", "Lettering, cut only"),
         40, 1, ((1200, 1000), (1200, 1000), (1400, 1100), (1000, 800)), False, 0.0, 1.0, 95, 0.0,
         ("opening hours lettering", "door lettering, white", "boat name and number", "lettering")),
    Kind(("Floor graphics", "floor graphics", "Floor Graphic"),
         7, 8, ((600, 600), (600, 600), (500, 500)), True, 1.0, 1.0, 310, 0.05,
         ("floor arrows", "floor graphics, round", "anti-slip floor panels")),
    Kind(("Heat-apply transfers", "heat apply transfers", "Heat-apply transfer"),
         16, 60, ((120, 100), (120, 100), (140, 110), (100, 90)), True, 0.0, 1.0, 190, 0.12,
         ("transfers for work shirts", "team shirts, numbers", "garment transfers")),
    Kind(("Magnets",), 0.5, 10, ((300, 200),), True, 1.0, 1.0, 120, 0.0, ("door magnets",)),
    Kind(("Roll-up stand",), 0.4, 1, ((850, 2050),), True, 1.0, 0.0, 140, 0.0, ("roll-up stand",)),
    Kind(("Canvas",), 0.3, 1, ((900, 600),), True, 0.0, 0.0, 85, 0.0, ("canvas for the hall",)),
)  # fmt: skip

CUSTOMERS = (
    "Thistlewick Bakery", "Pennymoor Plumbing", "Brackwater Marina", "Ossleford Rowing Club",
    "Harrow Lane Kennels", "Dunmarrow Dairy", "Cobblegate Café", "Saltreed Surf School",
    "Low Fenning Parish", "Marrowby Tool Hire", "Tern Point Campsite", "Quillet Books",
    "Eastquay Fish Market", "Wend Valley Coaches", "Bellhatch Garden Centre", "Ashmere School",
    "Foxley Roofing", "Gannet Street Gym", "Oldstaithe Brewery", "Haven Ferries",
)  # fmt: skip
HEADER = ("Order no.", "Ordered", "Job type", "Description", "Qty", "Width mm", "Height mm",
          "Printed", "Laminated", "Contour cut", "Order total")  # fmt: skip


@dataclass(frozen=True)
class Order:
    """One invented order."""

    day: date
    kind: Kind
    text: str
    description: str
    quantity: int
    width: int
    height: int
    laminated: bool
    cut: bool
    price: float


class Dice:
    """Draws that depend on ``random()`` only."""

    def __init__(self, seed: int) -> None:
        self.uniform = random.Random(seed).random

    def pick(self, items: Sequence[T]) -> T:
        """Return one of the items, each as likely."""
        return items[int(self.uniform() * len(items))]

    def spread(self, sigma: float) -> float:
        """Return a log-normal factor of mean 1."""
        score = NormalDist().inv_cdf(min(max(self.uniform(), 1e-9), 1 - 1e-9))
        return math.exp(sigma * score - sigma * sigma / 2)

    def poisson(self, mean: float) -> int:
        """Return a Poisson count, by inversion."""
        count, left = 0, self.uniform() - math.exp(-mean)
        term = math.exp(-mean)
        while left > 0:
            count += 1
            term *= mean / count
            left -= term
        return count


def main() -> None:
    folder = Path(__file__).parent / "orders"
    folder.mkdir(exist_ok=True)
    dice = Dice(SEED)
    orders = invented_orders(dice)
    rows = [csv_row(number, order, dice) for number, order in enumerate(orders, start=24_101)]
    rows = with_unreadable_rows(rows, orders)
    (folder / "quenlow_orders.csv").write_bytes(csv_bytes(rows))
    late = [order for order in orders if order.day >= WORKBOOK_FROM]
    (folder / "quenlow_orders.xlsx").write_bytes(workbook_bytes(late))
    print(
        f"{len(orders)} orders in {len(rows)} rows, {FIRST} to {LAST}; {len(late)} in the workbook"
    )
    for kind, count in Counter(order.kind.texts[0] for order in orders).most_common():
        value = sum(order.price for order in orders if order.kind.texts[0] == kind)
        print(f"  {kind:24} {count:5} orders {value:12,.2f} USD")


def workdays(first: date, last: date) -> list[date]:
    days = [first + timedelta(days=place) for place in range((last - first).days + 1)]
    return [day for day in days if day.weekday() < 5 and (day.month, day.day) not in HOLIDAYS]


def invented_orders(dice: Dice) -> list[Order]:
    per_month = Counter((day.year, day.month) for day in workdays(
        FIRST.replace(day=1), date(LAST.year, LAST.month, 31)))  # fmt: skip
    orders = []
    for day in workdays(FIRST, LAST):
        years = (day - FIRST).days / 365.25
        for kind in KINDS:
            level = kind.orders_per_month * SEASONALITY[day.month - 1] * (1 + kind.growth) ** years
            for _ in range(dice.poisson(level / per_month[day.year, day.month])):
                orders.append(invented_order(day, kind, dice))
    return orders


def invented_order(day: date, kind: Kind, dice: Dice) -> Order:
    width, height = dice.pick(kind.sizes_mm)
    usual_width, usual_height = kind.sizes_mm[0]
    pieces = kind.quantity * dice.spread(0.45)
    step = 50 if pieces > 150 else 10 if pieces > 45 else 1
    quantity = max(1, step * round(pieces / step))
    bulk = (quantity / kind.quantity) ** 0.6
    area = (width * height / usual_width / usual_height) ** 0.5
    return Order(
        day, kind, untidy_type(kind, dice),
        f"{dice.pick(CUSTOMERS)}: {dice.pick(kind.jobs)}", quantity, width, height,
        dice.uniform() < kind.laminated, dice.uniform() < kind.cut,
        round(kind.price * bulk * area * dice.spread(0.12), 2),
    )  # fmt: skip


def untidy_type(kind: Kind, dice: Dice) -> str:
    """Return the type as somebody typed it: seldom not at all, or with two letters swapped."""
    chance = dice.uniform()
    text = dice.pick(kind.texts)
    if chance < 0.02:
        return ""
    if chance < 0.03 and len(text) > 7:
        place = 2 + int(dice.uniform() * 3)
        return text[:place] + text[place + 1] + text[place] + text[place + 2 :]
    return text


def csv_row(number: int, order: Order, dice: Dice) -> list[str]:
    width = f"{order.width / 25.4:.1f} in" if dice.uniform() < 0.01 else str(order.width)
    price = f"{order.price:,.2f}"
    if dice.uniform() < 0.03:
        price = f"${price}"
    yes = dice.pick(("yes", "yes", "yes", "y", "Yes"))
    return [
        str(number), f"{order.day.month}/{order.day.day}/{order.day.year}", order.text,
        order.description, str(order.quantity), width, str(order.height),
        yes if order.kind.printed else "no", yes if order.laminated else "no",
        yes if order.cut else "no", price,
    ]  # fmt: skip


def with_unreadable_rows(rows: list[list[str]], orders: list[Order]) -> list[list[str]]:
    """Return the rows with some spoilt, some blank, and lines of totals."""
    spoilt = {
        40: (1, ""), 333: (5, "-300"), 512: (10, "tbc"), 777: (4, "a few"), 905: (1, "2/30/2026"),
        1100: (6, "0"), 1313: (10, "see quote"), 1490: (8, "?"), 1777: (1, ""), 2020: (5, "ask"),
    }  # fmt: skip
    for place, (column, text) in spoilt.items():
        rows[place][column] = text
    fitting = ["", rows[1600][1], "Fitting", "fitting on site, half a day", "1", "100", "100",
               "no", "no", "no", "240.00"]  # fmt: skip
    blank = [""] * len(HEADER)
    total = sum(order.price for order in orders)
    end = [blank, ["", "", "Total", "", "", "", "", "", "", "", f"{total:,.2f}"]]
    year = next(place for place, order in enumerate(orders) if order.day.year == LAST.year)
    half = sum(order.price for order in orders[:year])
    middle = [["", "", "Subtotal", "", "", "", "", "", "", "", f"{half:,.2f}"], blank]
    return rows[:year] + middle + rows[year:1600] + [fitting] + rows[1600:] + end


def csv_bytes(rows: list[list[str]]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(HEADER)
    writer.writerows(rows)
    return text.getvalue().encode()


def workbook_bytes(orders: list[Order]) -> bytes:
    """Return the workbook that the counter keeps: other headers, inches, real dates, x or empty."""
    book = Workbook()
    page = book.active
    page.title = "Counter"
    page.append(["Quenlow Graphics, counter book"])
    page.merge_cells("A1:J1")
    page.append([f"from {WORKBOOK_FROM}"])
    page.append(["Date ordered", "Kind of work", "What", "Pieces", "W (in)", "H (in)", "Print?",
                 "Lam.", "Kiss cut", "Net total"])  # fmt: skip
    for order in orders:
        page.append([
            datetime(order.day.year, order.day.month, order.day.day), order.text,
            order.description, order.quantity, round(order.width / 25.4, 2),
            round(order.height / 25.4, 2), "x" if order.kind.printed else None,
            "x" if order.laminated else None, "x" if order.cut else None, order.price,
        ])  # fmt: skip
    page["J60"] = "to follow"
    page.merge_cells("A101:A102")
    end = page.max_row
    page.append(["Total", None, None, None, None, None, None, None, None, f"=SUM(J4:J{end})"])
    for row in page.iter_rows(min_row=4, max_row=end, max_col=1):
        row[0].number_format = "yyyy-mm-dd"
    book.properties.created = STAMP
    raw = io.BytesIO()
    book.save(raw)
    return with_fixed_times(raw.getvalue())


def with_fixed_times(content: bytes) -> bytes:
    """Return a workbook whose time stamps don't depend on when it was made."""
    fixed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(fixed, "w") as new:
        for name in sorted(old.namelist()):
            data = old.read(name)
            if name == "docProps/core.xml":
                head, mark, tail = data.partition(b'<dcterms:modified xsi:type="dcterms:W3CDTF">')
                stamp = f"{STAMP.isoformat()}Z".encode()
                data = head + mark + stamp + tail[tail.index(b"<") :]
            entry = zipfile.ZipInfo(name, STAMP.timetuple()[:6])
            entry.external_attr = 0o644 << 16
            new.writestr(entry, data, zipfile.ZIP_DEFLATED)
    return fixed.getvalue()


if __name__ == "__main__":
    main()
