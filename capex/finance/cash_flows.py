"""From what the shop floor makes to the ledger: every line of money, with its rule.

Imports numpy, `capex.study`, `capex.shopfloor` and the other files of `capex.finance`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.finance.arrays import FloatArray
from capex.finance.depreciation import tax_payable
from capex.finance.financing import LINES, financing, service_by_month
from capex.finance.ledger import Group, Ledger, Line
from capex.finance.project_years import at_year_ends, by_year
from capex.finance.purchases import Purchases
from capex.shopfloor.arrays import over_scenarios
from capex.shopfloor.content import COSTS
from capex.shopfloor.mix import Mix
from capex.shopfloor.output import Output
from capex.shopfloor.prices import Prices
from capex.shopfloor.routes import Routes
from capex.shopfloor.stations import presence
from capex.study import Alternative, Study

__all__ = ["cash_flows", "sales_of_first_month"]

IntArray = npt.NDArray[np.intp]

#: Room of the table, doubled when it is full.
_LINES_AT_FIRST: Final = 48


def cash_flows(
    study: Study,
    mix: Mix,
    alternative: Alternative,
    routes: Routes,
    output: Output,
    prices: Prices,
    area: FloatArray,
    count: int = 1,
    late: FloatArray | None = None,
    today: FloatArray | None = None,
) -> Ledger:
    """Return the ledger of an alternative.

    Parameters
    ----------
    study, mix, alternative, routes
        The shop, its job types, the choice and its routes.
    output : Output
        What is made, bought in and refused each month.
    prices : Prices
        Price levels by month.
    area : ndarray, shape (n, m)
        Floor taken [m²].
    count : int
        Scenarios.
    late : ndarray, shape (n, j, m), optional
        Share of the orders made in the house that is late; without it being late costs nothing.
    today : ndarray, shape (n,), optional
        Sales of a month as the shop is today [currency], whose working capital it has tied up
        already; without it the alternative's own first month.

    Returns
    -------
    Ledger
        Nominal; see `model conventions` in the contributors' guide for the timing of each line.
    """
    book = _Book(study, mix, alternative, routes, output, prices, area, count, late, today)
    book.enter_operations()
    book.enter_machines()
    book.enter_working_capital()
    book.enter_tax_and_financing()
    book.enter_standing_payments()
    return book.ledger()


def sales_of_first_month(ledger: Ledger) -> FloatArray:
    """Return the sales of month 1, shape (n,) [currency]: of the baseline they are today's.

    Parameters
    ----------
    ledger : Ledger
    """
    # line by line: numpy adds up in an order of its own, another one for a single scenario
    total = np.zeros(len(ledger.table))
    for place, line in enumerate(ledger.lines):
        if line.key.startswith("sales."):
            total += ledger.table[:, place, 1]
    return total


@dataclass
class _Book:
    """The table while it is being written; private to `cash_flows`."""

    study: Study
    mix: Mix
    alternative: Alternative
    routes: Routes
    output: Output
    prices: Prices
    area: FloatArray
    count: int
    late: FloatArray | None
    today: FloatArray | None

    def __post_init__(self) -> None:
        self.months = self.prices.sales.shape[1]
        horizon = self.study.money.horizon.si
        self.purchases = Purchases(self.study, self.alternative, self.months)
        self.rows = self.count
        self.horizon: IntArray = over_scenarios(horizon.astype(np.intp), self.rows)
        self.active = np.arange(1, self.months + 1) <= self.horizon[:, None]
        self.whole = bool(self.active.all())
        self.lines: list[Line] = []
        self.table = np.empty((_LINES_AT_FIRST, self.rows, self.months + 1))

    def enter(
        self,
        key: str,
        name: str,
        group: Group,
        flow: FloatArray,
        *,
        taxed: bool,
        level: FloatArray | float = 1.0,
    ) -> None:
        """Add a line; a flow over months 1 … m ends at the horizon, one over 0 … m is whole.

        A flow over months 1 … m is multiplied by the level of prices.
        """
        if len(self.lines) == len(self.table):
            self.table = np.concatenate([self.table, np.empty_like(self.table)])
        row = self.table[len(self.lines)]
        if flow.shape[-1] > self.months:
            row[:] = flow
        else:
            row[:, 0] = 0.0
            np.multiply(flow, level, out=row[:, 1:])
            if not self.whole:
                row[:, 1:] *= self.active
        self.lines.append(Line(key, name, group, taxed))

    def enter_operations(self) -> None:
        """Sales, materials, bought-in work, people and room."""
        output, level = self.output, self.prices
        for j, (key, job) in enumerate(zip(self.mix.keys, self.mix.jobs, strict=True)):
            price = self.mix.price[:, j, None] * level.sales
            sold = output.demand[:, j] - output.refused[:, j]
            self.enter(f"sales.{key}", f"Sales: {job.name}", "sales", sold, taxed=True, level=price)
        used = np.matmul(-self.routes.costs, output.made)
        for place, cost in enumerate(COSTS):
            name, group = _COST_LINES[cost]
            self.enter(cost, name, group, used[:, place], taxed=True, level=level.materials)
        bought = np.matmul(-self.mix.bought_in_price[:, None], output.bought_in)[:, 0]
        self.enter(
            "bought_in", "Bought-in work", "bought-in work", bought,
            taxed=True, level=level.materials,
        )  # fmt: skip
        if self.late is not None:
            self._enter_late_orders(self.late)
        self._enter_people()
        premises = self.study.shop.premises
        rent = np.zeros(1) if premises.room_already_paid else premises.rent.si / 12.0
        self.enter(
            "floor_space", "Floor space", "room", -self.area * rent[:, None],
            taxed=True, level=level.overheads,
        )  # fmt: skip

    def _enter_late_orders(self, late: FloatArray) -> None:
        """Enter what late orders cost: an amount each, and what is lost of their price."""
        promises, level = self.study.shop.promises, self.prices
        made = (self.routes.job_of == np.arange(len(self.mix.keys))[:, None]) @ self.output.made
        price = self.mix.price[:, :, None] * level.sales[:, None]
        amount = promises.cost_of_late_order.si[:, None, None] * level.overheads[:, None]
        each = amount + promises.price_lost_when_late.si[:, None, None] * price
        self.enter("late", "Late orders", "sales", -(made * late * each).sum(axis=1), taxed=True)

    def _enter_people(self) -> None:
        """Staffed hours are paid; idle ones only as far as they are not redeployed."""
        people, hours = self.study.shop.people, self.study.shop.hours
        places = [k for k, place in enumerate(self.routes.stations) if place.placement is None]
        wage = (people.wage.si * people.on_cost_factor.si)[:, None] * self.prices.wages
        staffed = hours.days_per_month.si * hours.hours_per_day.si
        persons = people.operators.si + people.finishers.si
        paid = (staffed * persons)[:, None]
        idle = sum(
            np.maximum(self.output.capacity[:, k] - self.output.used[:, k], 0.0) for k in places
        )
        redeployed = people.idle_time_redeployed.si[:, None] * idle
        self.enter("wages", "Wages", "people", redeployed - paid, taxed=True, level=wage)
        overtime = self.output.overtime * (-persons * hours.overtime_premium.si)[:, None]
        self.enter("overtime", "Overtime", "people", overtime, taxed=True, level=wage)

    def enter_machines(self) -> None:
        """Enter what the machines that are there cost to run, to buy and bring when sold."""
        service, insurance, ready = (np.zeros((1, self.months)) for _ in range(3))
        shop = self.study.shop
        staffed = (shop.hours.days_per_month.si * shop.hours.hours_per_day.si)[:, None]
        used = {p.placement: self.output.used[:, k] for k, p in enumerate(self.routes.stations)
                if p.work == "machine"}  # fmt: skip
        for place, placement in enumerate(self.alternative.machines):
            machine = self.study.machines[placement.machine]
            here = presence(placement, self.months) * placement.count.si[:, None]
            service = service + service_by_month(self.study, self.alternative, place, self.months)
            value = self.purchases.unit_price(place)
            insurance = insurance + here * (shop.premises.insurance.si * value / 12.0)[:, None]
            waiting = np.maximum(staffed * here - used.get(place, 0.0), 0.0)
            ready = ready + waiting * machine.power_ready.si[:, None]
        level = self.prices.overheads
        electricity = shop.premises.electricity.si[:, None]
        self.enter("service", "Service", "machines", -service, taxed=True, level=level)
        self.enter("insurance", "Insurance", "machines", -insurance, taxed=True, level=level)
        self.enter("standby", "Power while ready", "machines", ready * -electricity, taxed=True,
                   level=level)  # fmt: skip
        bought = self.purchases
        self.enter("purchase", "Purchase of machines", "investment", -bought.price, taxed=False)
        if bought.tax_on_price.any():
            self.enter("sales_tax", "Sales tax on machines", "investment", -bought.sales_tax,
                       taxed=False)  # fmt: skip
        self.enter("installation", "Freight and installation", "investment",
                   -bought.installation, taxed=False)  # fmt: skip
        self.enter("training", "Training", "investment", -bought.training, taxed=False)
        self.enter("sold", "Machines sold or traded in", "investment", bought.sold, taxed=False)
        self.enter("salvage", "Salvage at the horizon", "investment", bought.salvage, taxed=False)

    def enter_working_capital(self) -> None:
        """Months of sales tied up beyond today's level; all of it comes back at the horizon."""
        sales = self.table[: len(self.mix.keys)].sum(axis=0)  # their lines are the first
        tied = self.study.money.working_capital.si[:, None]
        today = sales[:, 1] if self.today is None else over_scenarios(self.today, self.rows)
        level = np.concatenate([today[:, None], sales[:, 1:]], axis=1) * tied
        flow = np.zeros_like(level)
        flow[:, 1:] = -np.diff(level, axis=1) * self.active
        every = np.arange(self.rows)
        flow[every, self.horizon] += level[every, self.horizon] - level[:, 0]
        self.enter("working_capital", "Working capital", "working capital", flow, taxed=False)

    def enter_standing_payments(self) -> None:
        """Enter what leaves the bank every month whatever is chosen, where the study states it."""
        lender = self.study.money.lender
        for key, name, amount in (
            ("existing_debt", "Service of earlier debts", lender.existing_debt_service.si),
            ("owner_draws", "Owner's draws", lender.owner_draws.si),
        ):
            if amount.any():
                flow = np.repeat(-amount[:, None], self.months, axis=1)
                self.enter(key, name, "financing", flow, taxed=False)

    def enter_tax_and_financing(self) -> None:
        """Tax on the investment alone; what interest saves stands with the financing."""
        taxed = np.zeros((self.rows, self.months + 1))
        for place, line in enumerate(self.lines):
            if line.taxed:
                taxed += self.table[place]
        bought = self.purchases
        income = by_year(taxed)
        years = income.shape[1]
        income = income - bought.training_by_year(years)
        income = income + bought.taxable_by_year(years, self.horizon)
        started = 12 * np.arange(years) < self.horizon[:, None]
        income = income * started
        rule = self.study.money.tax
        rate = over_scenarios(rule.rate.si, self.rows)
        payable = tax_payable(income, rate, rule.losses)
        due = at_year_ends(-payable, self.horizon, self.months)
        self.enter("tax", "Tax on profit", "tax", due, taxed=False)
        paid_for = financing(self.study, self.alternative, bought, self.prices, self.horizon)
        lines = paid_for.lines | paid_for.tax_lines(income, rate, rule.losses, bought, self.horizon)
        for key, flow in lines.items():
            name, deducted = LINES[key]
            self.enter(key, name, "financing", flow, taxed=deducted)

    def ledger(self) -> Ledger:
        """Return the finished table."""
        table = self.table[: len(self.lines)].transpose(1, 0, 2)
        return Ledger(tuple(self.lines), table, self.horizon)


_COST_LINES: dict[str, tuple[str, Group]] = {
    "film": ("Film", "materials"),
    "ink": ("Ink", "materials"),
    "laminate": ("Overlaminate", "materials"),
    "spoil": ("Misregistration and spoil", "materials"),
    "other": ("Other direct cost", "materials"),
    "heads": ("Print heads", "machines"),
    "blades": ("Blades", "machines"),
    "power": ("Power at work", "machines"),
}
