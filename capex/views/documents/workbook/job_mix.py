"""The job types: prices, what becomes of their orders, and what an order contributes.

May import: numpy, `capex.decision`, `capex.study` and, of this folder, `book`, `formula`, `grid`,
`live` and `orders`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from xlsxwriter.utility import xl_col_to_name
from xlsxwriter.worksheet import Worksheet

from capex.decision.outcome import Outcome
from capex.views.documents.workbook.book import Book
from capex.views.documents.workbook.formula import Expression, number
from capex.views.documents.workbook.grid import Row
from capex.views.documents.workbook.live import Inputs
from capex.views.documents.workbook.orders import Carried

__all__ = ["job_mix_sheet"]

_NOTES: Final = (
    "Prices, contribution and sales are formulas. Orders, and the direct cost of one at today's "
    "prices, are values: capex works them out from sizes, passes, waste and spoil of each type.",
    "Totals are over the whole horizon. Direct cost is the mean over the orders made in the house.",
)
_ONCE: Final = ("Job type", "Orders a month, as entered", "Price", "Bought-in price")
_EACH: Final = (
    "orders asked for", "made", "bought in", "refused", "direct cost of one made",
    "contribution of one made",
    "sales at today's price",
)  # fmt: skip


def job_mix_sheet(book: Book, inputs: Inputs, each: Sequence[tuple[str, Outcome, Carried]]) -> None:
    """Write the sheet of job types under each alternative of the workbook.

    Parameters
    ----------
    book : Book
    inputs : Inputs
    each : sequence of (letter, Outcome, Carried)
    """
    title = f"The order book by job type; amounts in {book.currency}"
    sheet = book.sheet("Job mix", title, _NOTES)
    heads = [*_ONCE, *(f"{letter}: {words}" for letter, _, _ in each for words in _EACH)]
    for column, words in enumerate(heads):
        sheet.write_string(4, column, words, book.look("period" if column else "heading"))
    sheet.set_row(4, 44)
    sheet.set_column(0, 0, 26)
    sheet.set_column(1, len(heads) - 1, 11.5)
    sheet.freeze_panes(5, 1)
    sheet.fit_to_pages(1, 0)
    sums = [0.0] * len(heads)
    for place, key in enumerate(inputs.study.jobs):
        price = _prices(book, sheet, 5 + place, inputs, key)
        for at, (_, outcome, carried) in enumerate(each):
            cells = _Cells(book, sheet, 5 + place, len(_ONCE) + at * len(_EACH))
            sold = next((found for _, found in carried.of(f"sales.{key}")), None)
            orders = _orders(outcome, place)
            sales = _outcome(cells, orders, price, sold)
            for offset, value in enumerate((*orders[:4], 0.0, 0.0, sales)):
                sums[cells.column + offset] += value
    _together(book, sheet, 5 + len(inputs.study.jobs), sums)


def _together(book: Book, sheet: Worksheet, last: int, sums: list[float]) -> None:
    style = book.look("total", "amount")
    sheet.write_string(last, 0, "Together", book.look("total"))
    for column, value in enumerate(sums[1:], start=1):
        if value:
            letter = xl_col_to_name(column)
            book.formula(sheet, last, column, f"SUM({letter}6:{letter}{last})", style, value=value)
        else:
            sheet.write_blank(last, column, None, style)


@dataclass(frozen=True)
class _Cells:
    """Where the cells of a job type under an alternative begin."""

    book: Book
    sheet: Worksheet
    row: int
    column: int


def _prices(book: Book, sheet: Worksheet, row: int, inputs: Inputs, key: str) -> Expression:
    """Write what is the same under every alternative, and return the price of an order."""
    job = inputs.study.jobs[key]
    sheet.write_string(row, 0, job.name, book.look())
    sheet.write_number(row, 1, job.orders_per_month.likely, book.look("carried", "count"))
    price = inputs[f"jobs.{key}.price"] * inputs["levers.price"]
    book.formula(sheet, row, 2, price, book.look("plain", "price"))
    if job.bought_in_price is not None:
        bought = inputs[f"jobs.{key}.bought_in_price"]
        book.formula(sheet, row, 3, bought, book.look("plain", "price"))
    return price


def _outcome(
    cells: _Cells, orders: tuple[float, ...], price: Expression, sold: Row | None
) -> float:
    """Write what becomes of a type's orders and what one contributes, and return the sales."""
    book, sheet, row, column = cells.book, cells.sheet, cells.row, cells.column
    for offset, value in enumerate(orders):
        numbers = "amount" if offset < 4 else "cents"
        sheet.write_number(row, column + offset, value, book.look("carried", numbers))
    cell = f"{xl_col_to_name(column + 4)}{row + 1}"
    material = Expression(lambda _: cell, np.array(orders[4]))
    book.formula(sheet, row, column + 5, price - material, book.look("plain", "cents"))
    sales = number(0) if sold is None else sold.summed() * price
    book.formula(sheet, row, column + 6, sales, book.look("plain", "amount"))
    return float(sales.values)


def _orders(outcome: Outcome, job: int) -> tuple[float, ...]:
    """Return orders asked for, made, bought in and refused, and the material of one made."""
    path = outcome.path
    output, mine = path.output, path.routes.job_of == job
    made = output.made[0][mine].sum(axis=1)
    costs = path.routes.costs[0].sum(axis=0)[mine]
    material = float((made * costs).sum() / made.sum()) if made.sum() > 0 else 0.0
    return (
        float(output.demand[0, job].sum()), float(made.sum()),
        float(output.bought_in[0, job].sum()), float(output.refused[0, job].sum()), material,
    )  # fmt: skip
