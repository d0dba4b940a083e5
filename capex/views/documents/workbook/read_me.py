"""The first sheet: what the workbook is, what follows a change and what does not, and cautions.

May import: `capex.study`, `capex.views.wording` and, of this folder, `book`.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from xlsxwriter.worksheet import Worksheet

from capex.study import Study
from capex.views.documents.workbook.book import CARRIED, Book
from capex.views.wording import CAUTIONS, convention_sentence

__all__ = ["fill_read_me"]

_SHEETS: Final = {
    "Summary": "The figures that decide, as the workbook stands and as capex found them.",
    "Inputs": "All inputs that the workbook follows, each with unit, source and date.",
    "Other inputs": f"All others, greyed: {CARRIED}.",
    "Job mix": "The order book by job type, prices and contribution.",
    "A Orders, B Orders": "Orders, material and hours by month, carried as values.",
    "A Ledger, B Ledger": "Cash by month, in formulas.",
    "A Loan, B Loan": "What is borrowed, and loan to value; only where something is.",
    "A Tax, B Tax": "Tax by project year.",
    "A Cover, B Cover": "Repayment cover by project year, with its definition.",
    "A less B": "What the choice brings over the baseline, and payback.",
    "Stress": "A lender's bad cases.",
}


def fill_read_me(
    book: Book, sheet: Worksheet, study: Study, names: tuple[str, str], *, offers: bool
) -> None:
    """Write the sheet.

    Parameters
    ----------
    book : Book
    sheet : Worksheet
    study : Study
    names : (str, str)
        Of the alternatives A and B, as typed.
    offers : bool
        Whether offers say how something is paid for.
    """
    sheet.set_column(0, 0, 24)
    sheet.set_column(1, 1, 112)
    sheet.set_portrait()
    sheet.fit_to_pages(1, 0)
    row = 2
    for title, lines in _parts(book, study, names, offers=offers):
        sheet.write_string(row, 0, title, book.look("section"))
        sheet.write_blank(row, 1, None, book.look("section"))
        row += 1
        for head, text in lines:
            sheet.write_string(row, 0, head, book.look("words"))
            sheet.write_string(row, 1, text, book.look("words"))
            sheet.set_row(row, 14 * max(1, -(-len(text) // 115), -(-len(head) // 26)))
            row += 1
        row += 1


def _parts(
    book: Book, study: Study, names: tuple[str, str], *, offers: bool
) -> Iterator[tuple[str, list[tuple[str, str]]]]:
    months = int(study.money.horizon.likely)
    yield (
        "This workbook",
        [
            ("Shop", study.shop_name),
            ("A, the choice", names[0]),
            ("B, the baseline", names[1]),
            ("Written on", book.on.isoformat()),
            ("Currency", f"{book.currency}, nominal; outflows are negative"),
            ("How it counts", convention_sentence(study, study.money.discount_rate.likely, months)),
        ],
    )
    yield (
        "Colours",
        [
            ("Yellow", "An input that the workbook follows: change it."),
            ("Grey", f"A value that does not follow: {CARRIED}."),
            ("White", "A formula."),
        ],
    )
    yield "What follows a change", list(_followed(offers=offers))
    yield "What does not", list(_not_followed(offers=offers))
    yield "Sheets", list(_SHEETS.items())
    yield "Cautions", [("", words) for words in CAUTIONS]


def _followed(*, offers: bool) -> Iterator[tuple[str, str]]:
    yield "Prices", "Of work, of bought-in work, of film, laminate, ink, heads, blades and power."
    yield (
        "People and room",
        "Wage, on-costs, overtime premium, idle time redeployed, rent, insurance.",
    )
    yield "Machines", "Price, freight, training, service, resale by year, what old machines bring."
    yield "Money", "Discount rate, rises of prices, working capital, tax rate, tax on purchases."
    loan = "Not here, as offers say how machines are paid for." if offers else (
        "Share, rate, term and fee; standing payments; the lender's thresholds."
    )  # fmt: skip
    yield "Loan", loan


def _not_followed(*, offers: bool) -> Iterator[tuple[str, str]]:
    yield (
        "Time and capacity",
        "Orders, growth, seasons, sizes, speeds, hours and people: the time of each order on each "
        "machine decides what can be made, and that needs capex itself. The months' orders, "
        "material and hours are carried as values.",
    )
    yield (
        "The month's plan",
        "In a full month the work that pays best per hour is made first. The plan is held here: if "
        "prices, wages or material move so far that other work would be made, bought in or "
        "refused, capex finds a better plan and other figures than this workbook.",
    )
    yield (
        "Dates and numbers",
        "Horizon, months of purchase and sale, numbers of machines, conventions.",
    )
    yield (
        "Tax schedules",
        "The share of cost claimed each year is carried. A limit of the regime, or its test of "
        "the last quarter, may turn if costs change much.",
    )
    yield "Late orders", "Where being late costs something, how many are late is carried."
    if offers:
        yield "Offers", "Flows of loans and leases that offers state, and the tax that they save."
