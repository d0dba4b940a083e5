"""The ledger of an alternative by month, in formulas over the inputs and what capex carries.

It is written in two parts, as tax and loan stand between them on sheets of their own.

May import: numpy, `capex.decision`, `capex.finance`, `capex.study` and, of this folder, `book`,
`formula`, `grid`, `live`, `orders` and `purchases`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from capex.decision.outcome import Outcome
from capex.study import Study
from capex.views.documents.workbook.book import Book
from capex.views.documents.workbook.formula import Expression, function, number, total
from capex.views.documents.workbook.grid import Grid, Row, month_grid
from capex.views.documents.workbook.live import Inputs
from capex.views.documents.workbook.orders import Carried, month_headings
from capex.views.documents.workbook.purchases import Purchase

__all__ = ["LedgerSheet", "operations", "rest"]

_NOTES: Final = (
    "Every amount is a formula: a value of the sheet of orders times a price of the sheet of "
    "inputs, at the price level of its year. Outflows are negative; months count at their end.",
)
_MATERIALS: Final = {
    "film": "Film", "ink": "Ink", "laminate": "Overlaminate", "spoil": "Misregistration and spoil",
    "other": "Other direct cost",
}  # fmt: skip
_AT_WORK: Final = {"heads": "Print heads", "blades": "Blades", "power": "Power at work"}


@dataclass
class LedgerSheet:
    """The ledger while it is written.

    Parameters
    ----------
    grid : Grid
    inputs : Inputs
    carried : Carried
    bought : tuple of Purchase
    levels : dict of str to Row
        Price levels.
    factor : Row
        Discount factors.
    operating : dict of str to Row
        Subtotals of sales, materials, bought-in work, people, machines and room.
    rows : dict of str to Row
        All lines, by the keys of the engine's ledger, and subtotals.
    """

    grid: Grid
    inputs: Inputs
    carried: Carried
    bought: tuple[Purchase, ...]
    levels: dict[str, Row]
    factor: Row
    operating: dict[str, Row] = field(default_factory=dict)
    rows: dict[str, Row] = field(default_factory=dict)

    @property
    def horizon(self) -> int:
        """Last month."""
        return self.grid.periods - 1

    @property
    def currency(self) -> str:
        """Of all amounts."""
        return self.grid.book.currency

    def enter(self, key: str, words: str, found: Expression, *, first: int = 0) -> None:
        """Write a line of money."""
        self.rows[key] = self.grid.row(words, self.currency, found, first=first)

    def subtotal(self, name: str, words: str, keys: list[str]) -> Row:
        """Write the sum of lines."""
        found = total([self.rows[key] for key in keys])
        self.rows[name] = self.grid.row(words, self.currency, found, look="total")
        return self.rows[name]


def operations(
    book: Book, letter: str, outcome: Outcome, inputs: Inputs, carried: Carried,
    bought: tuple[Purchase, ...],
) -> LedgerSheet:  # fmt: skip
    """Write the ledger down to operating cash, before investment, tax and financing."""
    study = outcome.path.study
    grid = month_grid(
        book, f"{letter} Ledger", f"{outcome.name}: cash by month", _NOTES, month_headings(study)
    )
    sheet = LedgerSheet(grid, inputs, carried, bought, *_time(grid, study, inputs))
    grid.section("Sales")
    _sales(sheet, study)
    grid.section("Materials and bought-in work")
    _materials(sheet)
    grid.section("People")
    _people(sheet)
    grid.section("Machines and room")
    _machines(sheet)
    grid.next += 1
    sheet.rows["operating"] = grid.row(
        "Operating cash before tax", sheet.currency, total([*sheet.operating.values()]),
        look="total",
    )  # fmt: skip
    return sheet


def _time(grid: Grid, study: Study, inputs: Inputs) -> tuple[dict[str, Row], Row]:
    """Write months, price levels and discount factors."""
    months = np.arange(grid.periods, dtype=np.float64)
    month = grid.carried("Month", "", months, "whole", summed=False)
    one, dozen = number(1), number(12)
    year = function("INT", np.floor((months - 1) / 12.0), (month - one) / dozen)
    levels = {}
    for key, words in (("prices", "selling prices"), ("materials", "materials and bought-in work"),
                       ("wages", "wages"), ("overheads", "overheads")):  # fmt: skip
        rise = (one + inputs[f"money.escalation.{key}"]) ** year
        levels[key] = grid.row(f"Price level of {words}", "", rise, "factor", first=1, summed=False)
    years: Expression = month / dozen
    if study.money.convention == "year_end":
        years = function("ROUNDUP", np.ceil(months / 12.0), month / dozen, "0")
    factors = one / (one + inputs["money.discount_rate"]) ** years
    return levels, grid.row("Discount factor", "", factors, "factor", summed=False)


def _sales(sheet: LedgerSheet, study: Study) -> None:
    inputs, level = sheet.inputs, sheet.levels["prices"]
    keys = []
    for key, job in study.jobs.items():
        for path, orders in sheet.carried.of(f"sales.{key}"):
            found = orders * inputs[path] * inputs["levers.price"] * level
            keys.append(f"sales.{key}")
            sheet.enter(keys[-1], job.name, found, first=1)
    sheet.subtotal("price_list", "Sales by the price list", keys)
    if sheet.carried.late:
        each = inputs["shop.promises.cost_of_late_order"] * sheet.levels["overheads"]
        lost = inputs["shop.promises.price_lost_when_late"] * inputs["levers.price"] * level
        found = -total(
            [
                orders * (each + lost * inputs[f"jobs.{job}.price"])
                for job, orders in sheet.carried.late.items()
            ]
        )
        sheet.enter("late", "Late orders", found, first=1)
        sheet.operating["sales"] = sheet.subtotal("sales", "Sales", ["price_list", "late"])
    else:
        sheet.operating["sales"] = sheet.rows["price_list"]


def _priced(sheet: LedgerSheet, line: str, level: str) -> Expression | None:
    """Return what a line comes to: how much of each thing, at its price; None where nothing is."""
    parts = [row * sheet.inputs[path] for path, row in sheet.carried.of(line)]
    return -total(parts) * sheet.levels[level] if parts else None


def _lines(sheet: LedgerSheet, lines: dict[str, str], level: str) -> list[str]:
    written = []
    for key, words in lines.items():
        found = _priced(sheet, key, level)
        if found is not None:
            sheet.enter(key, words, found, first=1)
            written.append(key)
    return written


def _materials(sheet: LedgerSheet) -> None:
    keys = _lines(sheet, _MATERIALS | {"bought_in": "Bought-in work"}, "materials")
    sheet.operating["materials"] = sheet.subtotal("materials", "Materials and bought-in work", keys)


def _people(sheet: LedgerSheet) -> None:
    inputs, hours = sheet.inputs, sheet.carried
    wage = inputs["shop.people.wage"] * inputs["shop.people.on_cost_factor"] * sheet.levels["wages"]
    idle = inputs["shop.people.idle_time_redeployed"] * hours.idle
    sheet.enter("wages", "Wages", -(hours.paid - idle) * wage, first=1)
    overtime = hours.overtime * inputs["shop.hours.overtime_premium"] * wage
    sheet.enter("overtime", "Overtime", -overtime, first=1)
    sheet.operating["people"] = sheet.subtotal("people", "People", ["wages", "overtime"])


def _machines(sheet: LedgerSheet) -> None:
    """Enter heads, blades and power at material prices, the rest at overheads, and the room."""
    inputs, level, dozen = sheet.inputs, sheet.levels["overheads"], number(12)
    keys = _lines(sheet, _AT_WORK, "materials")
    there = [(one, sheet.carried.there[one.place]) for one in sheet.bought
             if one.place in sheet.carried.there]  # fmt: skip
    if there:
        service = total([row * inputs[f"{one.machine_path}.service"] for one, row in there])
        value = total([row * one.price for one, row in there])
        insurance = value * inputs["shop.premises.insurance"]
        sheet.enter("service", "Service", -service / dozen * level, first=1)
        sheet.enter("insurance", "Insurance", -insurance / dozen * level, first=1)
        keys += ["service", "insurance"]
    keys += _lines(sheet, {"standby": "Power while ready"}, "overheads")
    room = _priced(sheet, "floor_space", "overheads")
    if room is not None:
        sheet.enter("floor_space", "Floor space", room / dozen, first=1)
        keys.append("floor_space")
    sheet.operating["machines"] = sheet.subtotal("machines", "Machines and room", keys)


def rest(
    sheet: LedgerSheet,
    today: Expression,
    tax: Expression,
    financing: dict[str, tuple[str, Expression]],
) -> None:
    """Write investment, working capital, tax, and the financing apart.

    Parameters
    ----------
    sheet : LedgerSheet
    today : Expression
        Sales of a month today, whose working capital is tied up already.
    tax : Expression
        Tax on profit by month; negative where it is owed.
    financing : dict of str to (words, Expression)
        Lines of the loan, the tax that they save, and standing payments.
    """
    grid = sheet.grid
    grid.section("Investment")
    _investment(sheet)
    grid.section("Working capital and tax")
    _working_capital(sheet, today)
    sheet.enter("tax", "Tax on profit", tax)
    grid.next += 1
    flow = total([sheet.rows[key] for key in ("operating", "investment", "working_capital", "tax")])
    net = grid.row("Net cash flow, without financing", sheet.currency, flow, look="total")
    sheet.rows["net"] = net
    sheet.rows["discounted"] = grid.row("Discounted", sheet.currency, net * sheet.factor)
    grid.section("Financing")
    for key, (words, found) in financing.items():
        sheet.enter(key, words, found)
    flow = total([net, *(sheet.rows[key] for key in financing)])
    sheet.rows["equity"] = grid.row("Cash left to the owner", sheet.currency, flow, look="total")
    opening = sheet.inputs["money.opening_cash"]
    sheet.rows["bank"] = grid.cumulative(
        "Money in the bank at the month's end", sheet.currency, sheet.rows["equity"], opening
    )


def _dated(sheet: LedgerSheet, parts: list[tuple[int, Expression]]) -> Expression:
    """Return amounts in their months, as formulas only where there is one."""
    values = np.zeros(sheet.grid.periods)
    for month, amount in parts:
        values[month] += float(amount.values)

    def text(period: int) -> str:
        found = total([amount for month, amount in parts if month == period])
        return found.text(period)

    return Expression(text, values)


def _investment(sheet: LedgerSheet) -> None:
    new = [one for one in sheet.bought if one.bought]
    lines = {
        "purchase": ("Purchase of machines", [(one.month, -one.outlay) for one in new]),
        "sales_tax": ("Sales tax on machines", [(one.month, -one.sales_tax) for one in new]),
        "installation": (
            "Freight and installation", [(one.month, -one.installation()) for one in new]
        ),
        "training": ("Training", [(one.month, -one.training()) for one in new]),
        "sold": ("Machines sold or traded in", _sales_of_machines(sheet)),
        "salvage": ("Resale at the horizon", [
            (one.last_month, one.proceeds()) for one in new if not one.sold_early
        ]),
    }  # fmt: skip
    for key, (words, parts) in lines.items():
        sheet.enter(key, words, _dated(sheet, parts))
    sheet.subtotal("investment", "Investment", list(lines))


def _sales_of_machines(sheet: LedgerSheet) -> list[tuple[int, Expression]]:
    parts = [(one.last_month, one.proceeds()) for one in sheet.bought if one.sold_early]
    return parts + [(one.month, credit) for one in sheet.bought if one.bought
                    for credit in one.trade_in()]  # fmt: skip


def _working_capital(sheet: LedgerSheet, today: Expression) -> None:
    grid, months = sheet.grid, sheet.inputs["money.working_capital"]
    sold = sheet.rows["price_list"]
    values = sold.values.copy()
    values[0] = float(today.values)
    basis = Expression(lambda t: today.text(0) if t == 0 else sold.text(t), values)
    tied = grid.row(
        "Tied up in work and unpaid sales", sheet.currency, basis * months, summed=False
    )
    end = sheet.horizon
    flow = np.zeros(grid.periods)
    flow[1:] = -np.diff(tied.values)
    flow[end] += tied.values[end] - tied.values[0]

    def text(period: int) -> str:
        back = f"+{tied.text(end)}-{tied.text(0)}" if period == end else ""
        return f"{tied.text(period - 1)}-{tied.text(period)}{back}"

    sheet.enter("working_capital", "Working capital", Expression(text, flow), first=1)
