"""Groups of orders, and the job types made of them."""

import csv
import io
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capex.errors import OrderBookError
from capex.study import StudyFile, data_folder
from capex.study.jobs import JobType
from capex.study.orders import (
    grouped_job_types,
    job_types,
    read_order_book,
    shop_seasonality,
    study_with_orders,
)

HEADER = "date,type,description,qty,width mm,height mm,print,lam,cut,price"
KINDS = [
    ("Sticker sets", "stickers for jars", 400, 75, 75, "y", "", "y", 180),
    ("Banners", "banner for the fair", 2, 2400, 1000, "y", "", "", 130),
    ("Lettering", "door lettering", 1, 1200, 1000, "", "", "y", 95),
    ("Floor graphics", "floor arrows", 8, 600, 600, "y", "y", "y", 310),
    ("Wall graphics", "wall mural", 5, 1250, 2400, "y", "", "", 560),
]


def lines_of(seed, number, kinds=KINDS, months=20):
    """Orders of the given kinds, more or less evenly over the months."""
    random = np.random.default_rng(seed)
    lines = []
    for _ in range(number):
        day = date(2030, 1, 1) + timedelta(days=int(random.integers(0, int(months * 30.4))))
        kind, text, quantity, width, height, *flags, price = kinds[random.integers(len(kinds))]
        quantity = max(1, round(quantity * random.lognormal(0, 0.4)))
        price = round(price * random.lognormal(0, 0.2), 2)
        lines.append([day, kind, text, quantity, width, height, *flags, price])
    return lines


def book_of(lines):
    text = io.StringIO(newline="")
    csv.writer(text).writerows([HEADER.split(","), *lines])
    return read_order_book(text.getvalue().encode())


def without_rows(groups):
    return groups.groups, groups.seasonality, groups.growth, groups.share_of_value_explained


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10**6), number=st.integers(20, 400), shuffle=st.randoms())
def test_law_the_order_of_the_rows_changes_nothing(seed, number, shuffle):
    lines = lines_of(seed, number)
    groups = grouped_job_types(book_of(lines))
    order = list(range(number))
    shuffle.shuffle(order)
    other = grouped_job_types(book_of([lines[place] for place in order]))
    assert without_rows(other) == without_rows(groups)
    assert other.notes == groups.notes
    before, after = groups.group_of_row, other.group_of_row
    assert [after[place + 2] for place in range(number)] == [before[old + 2] for old in order]


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    number=st.integers(1, 400),
    bounds=st.tuples(st.integers(1, 12), st.integers(0, 8)),
)
def test_law_groups_share_out_all_orders_and_all_value(seed, number, bounds):
    book = book_of(lines_of(seed, number))
    at_least, at_most = bounds[0], bounds[0] + bounds[1]
    groups = grouped_job_types(book, at_most, at_least)
    assert len(groups.groups) <= at_most
    assert len(groups.groups) >= at_least or any("fewer than" in note for note in groups.notes)
    assert len({group.name for group in groups.groups}) == len(groups.groups)
    assert sum(group.orders for group in groups.groups) == len(book.orders) == groups.orders
    assert set(groups.group_of_row) == set(book.orders["row"])
    assert sum(group.share_of_value for group in groups.groups) == pytest.approx(1.0, abs=1e-12)
    value = sum(group.orders * group.mean_price for group in groups.groups)
    assert value == pytest.approx(book.orders["price"].sum(), rel=1e-12)
    assert 0 <= groups.share_of_value_explained <= 1
    for part in (groups, *groups.groups):
        assert np.mean(part.seasonality) == pytest.approx(1.0, abs=1e-12)


def test_law_joining_all_orders_in_one_group_explains_nothing_and_one_price_a_group_everything():
    lines = lines_of(1, 300)
    assert grouped_job_types(book_of(lines), 1, 1).share_of_value_explained == pytest.approx(0)
    fixed = [[*line[:9], {kind[0]: kind[8] for kind in KINDS}[line[1]]] for line in lines]
    groups = grouped_job_types(book_of(fixed), 12, 5)
    assert groups.share_of_value_explained == pytest.approx(1)


def test_types_are_one_whatever_capitals_plurals_order_of_words_and_slips():
    texts = ["Sticker sets"] * 20 + ["STICKER SET", "sets, sticker", "Stikcer sets", "stickersets"]
    lines = [[date(2030, 1, 1 + k % 28), text, "", *KINDS[0][2:]] for k, text in enumerate(texts)]
    groups = grouped_job_types(book_of(lines), 12, 1)
    assert [(group.name, group.orders) for group in groups.groups] == [("sticker sets", 24)]
    assert "type 'stikcer set' was read as 'sticker set'" in groups.notes


def test_the_users_word_joins_types():
    lines = lines_of(2, 200)
    joined = grouped_job_types(book_of(lines), 12, 1, same_as={"wall graphic": "Banners"})
    assert {group.name for group in joined.groups} == {
        "sticker sets", "banners", "lettering", "floor graphics",
    }  # fmt: skip
    homes = {joined.groups[k].name: joined.groups[k].spellings for k in range(4)}
    assert homes["banners"] == ("Banners", "Wall graphics")


def test_a_description_places_an_order_without_a_type():
    lines = lines_of(3, 200)
    for line in lines[:40]:
        line[1] = ""
    groups = grouped_job_types(book_of(lines), 12, 1)
    kinds = {kind[1]: kind[0].casefold() for kind in KINDS}
    for place, line in enumerate(lines):
        assert groups.group_of_row[place + 2] == kinds[line[2]]
    assert "40 orders without a type were placed by their description" in groups.notes


def test_a_book_of_descriptions_only_is_grouped_by_trade_words_and_processes():
    lines = [[line[0], "", *line[2:]] for line in lines_of(4, 300)]
    plain = [[line[0], "", "see mail", *line[3:]] for line in lines_of(5, 60, KINDS[:2])]
    groups = grouped_job_types(book_of([*lines, *plain]), 12, 1)
    assert {group.name for group in groups.groups} == {
        "stickers", "banners", "lettering", "floor graphics", "wall graphics",
        "other work, printed and cut", "other work, printed",
    }  # fmt: skip


def test_work_that_takes_other_machines_is_another_kind():
    lines = lines_of(6, 300)
    banners = [line for line in lines if line[1] == "Banners"]
    for line in banners[: len(banners) // 3]:
        line[8] = "y"
    names = {group.name for group in grouped_job_types(book_of(lines), 12, 1).groups}
    assert {"banners", "banners, printed and cut"} <= names


def test_rare_and_surplus_types_are_pooled_by_process():
    rare = [
        ("Magnets", "", 10, 300, 200, "y", "y", "y", 120),
        ("Kites", "", 1, 9, 9, "y", "", "", 9),
    ]
    lines = [*lines_of(7, 500), *lines_of(8, 4, rare[:1]), *lines_of(8, 3, rare[1:])]
    groups = grouped_job_types(book_of(lines), 12, 1)
    assert "pooled as other work: magnets, kites" in groups.notes
    few = grouped_job_types(book_of(lines), 4, 1)
    assert len(few.groups) <= 4
    assert any(group.name.startswith("other work") for group in few.groups)


def test_kinds_are_split_where_the_split_explains_most_value():
    lines = [
        [
            *line[:4],
            *((100, 100) if place % 2 else (900, 900)),
            *line[6:9],
            10 if place % 2 else 500,
        ]
        for place, line in enumerate(lines_of(9, 200, KINDS[:1]))
    ]
    groups = grouped_job_types(book_of(lines), 12, 2)
    assert {group.name for group in groups.groups} == {
        "sticker sets, up to 0.41 m²",
        "sticker sets, over 0.41 m²",
    }
    assert groups.share_of_value_explained == pytest.approx(1)


def test_the_representative_size_is_the_median_by_value():
    sizes = [(100, 200, 10), (300, 400, 10), (900, 800, 21)]
    lines = [[date(2030, 1, 5), "Banners", "", 1, w, h, "y", "", "", p] for w, h, p in sizes]
    group = grouped_job_types(book_of(lines), 12, 1).groups[0]
    assert (group.width, group.height) == (0.9, 0.8)
    assert group.area_per_order == pytest.approx((0.02 + 0.12 + 0.72) / 3)
    free = [[*line[:9], 0] for line in lines] + [[date(2030, 1, 5), "Lettering", "", *KINDS[2][2:]]]
    assert {g.name: g.width for g in grouped_job_types(book_of(free), 12, 1).groups}[
        "banners"
    ] == 0.3


def test_the_covered_days_can_be_stated():
    book = book_of([[date(2030, 1, 15), *KINDS[1]] for _ in range(31)])
    assert grouped_job_types(book, 12, 1).orders_per_month == pytest.approx(31 * 31)
    month = (date(2030, 1, 1), date(2030, 1, 31))
    assert grouped_job_types(book, 12, 1, covers=month).orders_per_month == pytest.approx(31)
    with pytest.raises(OrderBookError, match="31 orders, the first on 2030-01-15, lie outside"):
        grouped_job_types(book, covers=(date(2030, 2, 1), date(2030, 2, 2)))


def test_gaps_and_short_spans_are_told():
    days = [date(2030, 1, 15), date(2031, 6, 15)]
    groups = grouped_job_types(book_of([[day, *KINDS[1]] for day in days]), 12, 1)
    assert any("16 of 18 months have no order at all" in note for note in groups.notes)
    short = grouped_job_types(book_of([[days[0], *KINDS[1]]]), 12, 1)
    assert short.groups[0].growth.rate is None
    assert any("shorter than 13" in note for note in short.notes)
    assert any("no day of February, March" in note for note in short.notes)


def test_refuses_bounds_out_of_order_and_a_book_without_prices():
    book = book_of(lines_of(10, 20))
    for at_most, at_least in ((3, 4), (3, 0)):
        with pytest.raises(OrderBookError, match="must be 1 <= at_least <= at_most"):
            grouped_job_types(book, at_most, at_least)
    free = book_of([[*line[:9], 0] for line in lines_of(10, 20)])
    with pytest.raises(OrderBookError, match="all orders are free of charge"):
        grouped_job_types(free)


EXISTING = {
    "stickers": JobType.model_validate(
        {"name": "Sticker Set", "orders_per_month": 1, "pieces_per_order": 1, "width": "1 m",
         "height": "1 m", "film": "vinyl", "laminate": "gloss", "price": 1, "passes": 6,
         "weeding_time": "9 min", "bought_in_price": 70,
         "cut": {"kind": "path", "length": "0.27 m", "segments": 12}}
    ),
    "banner": JobType.model_validate(
        {"name": "anything", "orders_per_month": 1, "pieces_per_order": 1, "width": "1 m",
         "height": "1 m", "film": "banner", "price": 1, "growth": 0.02}
    ),
}  # fmt: skip


def test_measured_figures_are_dated_and_all_else_is_kept_or_a_default():
    groups = grouped_job_types(book_of(lines_of(11, 900)), 12, 5)
    jobs = job_types(groups, EXISTING, laminate="matt")
    assert set(jobs) == {"stickers", "banner", "lettering", "floor_graphics", "wall_graphics"}
    stickers, floor = jobs["stickers"], jobs["floor_graphics"]
    group = next(one for one in groups.groups if one.name == "sticker sets")
    half_span = (groups.span.last - groups.span.first).days / 2 / 365.25
    for quantity, value in (
        (
            stickers.orders_per_month,
            group.orders_per_month * (1 + group.pooled_growth.rate) ** half_span,
        ),
        (stickers.pieces_per_order, round(group.mean_quantity)),
        (stickers.width, group.width),
        (stickers.price, group.mean_price),
        (stickers.growth, group.pooled_growth.rate),
    ):
        assert quantity.likely == pytest.approx(value, rel=1e-5)
        assert (quantity.source, quantity.on) == ("measured", groups.span.last)
    assert stickers.growth.low < stickers.growth.likely < stickers.growth.high
    assert (stickers.passes.likely, stickers.passes.source) == (6, "entered")
    assert stickers.cut == EXISTING["stickers"].cut
    assert stickers.bought_in_price.likely == 70
    assert (stickers.film, stickers.laminate) == ("vinyl", None)
    assert (floor.laminate, floor.laminated.likely, floor.cut.kind) == ("matt", 1.0, "rectangle")
    assert floor.passes.source == "default"
    assert jobs["lettering"].film is None
    assert jobs["banner"].cut is None


def test_growth_that_cannot_be_told_stays_as_it_is():
    groups = grouped_job_types(book_of(lines_of(12, 300, months=6)), 12, 5)
    jobs = job_types(groups, EXISTING, laminate="matt")
    assert (jobs["banner"].growth.likely, jobs["banner"].growth.source) == (0.02, "entered")
    assert jobs["wall_graphics"].growth.source == "default"


def test_parts_of_a_split_kind_take_the_kinds_counterpart_as_model():
    groups = grouped_job_types(book_of(lines_of(13, 300, KINDS[1:2])), 12, 2)
    jobs = job_types(groups, {"banners": EXISTING["banner"]})
    assert len(jobs) == 2
    assert "banners" in jobs
    assert {job.film for job in jobs.values()} == {"banner"}


def test_a_season_of_its_own_is_written_and_the_shops_is_not():
    lines = lines_of(14, 1200, months=24)
    lines += [[date(2030 + k % 2, 12, 1 + k % 28), *KINDS[1]] for k in range(300)]
    groups = grouped_job_types(book_of(lines), 12, 5)
    jobs = job_types(groups, {}, film="vinyl", laminate="gloss")
    shop = shop_seasonality(groups)
    assert [factor.source for factor in shop] == ["measured"] * 12
    assert np.mean([factor.likely for factor in shop]) == pytest.approx(1, abs=1e-5)
    assert jobs["banners"].seasonality[11].likely > 3
    for key, job in jobs.items():
        group = next(one for one in groups.groups if one.name.replace(" ", "_") == key)
        assert (job.seasonality is not None) == group.own_seasonality


def test_refuses_a_printed_or_laminated_group_without_a_film():
    groups = grouped_job_types(book_of(lines_of(15, 300)), 12, 5)
    with pytest.raises(OrderBookError, match="is printed, and no film is known; state film"):
        job_types(groups, {})
    with pytest.raises(OrderBookError, match="is laminated, and no film is known; state laminate"):
        job_types(groups, {}, film="vinyl")


def a_year_of(kind):
    """A year of one kind of work, three orders a month."""
    rows = [
        f"2031-{month:02}-{day:02};{kind};2;600;400;y;;;90"
        for month in range(1, 13)
        for day in (3, 13, 23)
    ]
    head = "Date;Kind;Qty;Width mm;Height mm;Print;Lam;Cut;Price"
    return read_order_book("\n".join([head, *rows]).encode())


def test_pairs_of_inputs_leave_with_the_job_type_they_name():
    file = StudyFile.read(data_folder() / "studies" / "quenlow.toml")
    pair = file.study.uncertainty.correlations[0]
    assert pair.one.startswith("jobs.")
    file = file.changed({"uncertainty.correlations": [
        pair.model_dump(), {"one": "levers.demand", "other": "levers.price", "rank": 0.4},
    ]})  # fmt: skip
    changed, said = study_with_orders(file, grouped_job_types(a_year_of("Yard signs")))
    (kept,) = changed.study.uncertainty.correlations
    assert (kept.one, kept.other, kept.rank) == ("levers.demand", "levers.price", 0.4)
    assert any(each.startswith("1 of 2 pairs") for each in said)


def test_months_that_differ_by_chance_are_said_to():
    assert any("no more than by chance" in note
               for note in grouped_job_types(a_year_of("Yard signs")).notes)  # fmt: skip
