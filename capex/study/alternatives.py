"""Alternatives: lists of machines with dates, and what choosing them brings about.

Imports pydantic, `capex.study.entries` and `capex.study.quantity`.
"""

from __future__ import annotations

from pydantic import Field

from capex.study.entries import (
    FACTOR,
    MACHINES,
    MONEY,
    MONTH,
    RATE,
    CostRate,
    Factor,
    Key,
    LoadShare,
    Machines,
    Money,
    Month,
    Name,
    Rate,
    Share,
    Span,
)
from capex.study.parts import Part
from capex.study.quantity import default


class Placement(Part):
    """One machine in an alternative: how many, from when, at what price.

    An owned machine is there from the start and costs nothing to get; it may be sold, traded in
    or kept. A `second_hand` one is bought used, which some tax allowances exclude. `price`
    overrides the catalogue price with a quotation. Price, installation and proceeds are those of
    one machine, training that of all. `when_load_passes` takes the place of `month`: the machine
    is bought the month after the load of a station that it relieves first passes this share of
    its hours (`capex.shopfloor.trigger`). `offer` names the offer of the study that says the
    price and how it is paid for; without it `capex.study.money.Loan` does.
    """

    machine: Key
    count: Machines = default(1, MACHINES)
    owned: bool = False
    second_hand: bool = False
    month: Month = default(0, MONTH)
    when_load_passes: LoadShare | None = None
    sold_in_month: Month | None = None
    sale_proceeds: Money | None = None
    price: Money | None = None
    offer: Key | None = None
    freight_and_installation: Money = default(0, MONEY)
    training: Money = default(0, MONEY)


class Alternative(Part):
    """One choice: its machines in order of preference.

    `recovered_demand`, `ramp_up` and `ramp_up_start` take the place of the shop's own
    (`capex.study.shop.AfterPurchase`); `bought_in` is the share of a job type's orders that goes
    out of the house whatever the load.
    """

    name: Name
    baseline: bool = False
    machines: tuple[Placement, ...] = Field(default=(), strict=False)
    recovered_demand: CostRate | None = None
    ramp_up: Span | None = None
    ramp_up_start: Share | None = None
    bought_in: dict[Key, Share] = Field(default_factory=dict)

    @property
    def bought(self) -> tuple[str, ...]:
        """Keys of the machines that are not owned yet, each once, in the order of the list."""
        return tuple(dict.fromkeys(one.machine for one in self.machines if not one.owned))


class Levers(Part):
    """Multipliers and shifts on many inputs at once; 1 and 0 leave the study as entered.

    `laminated_share`, where given, is the share of laminable orders that are laminated in the
    whole mix; the job types move towards it together. `delay` is by how many months machines that
    are bought start to work later, though they are paid and stand there; `loan_rate_shift` is
    added to the annual rate of what is borrowed.
    """

    demand: Factor = default(1, FACTOR)
    growth_shift: Rate = default(0, RATE)
    price: Factor = default(1, FACTOR)
    print_rate: Factor = default(1, FACTOR)
    cut_speed: Factor = default(1, FACTOR)
    machine_price: Factor = default(1, FACTOR)
    laminated_share: Share | None = None
    delay: Month = default(0, MONTH)
    loan_rate_shift: Rate = default(0, RATE)


__all__ = ["Alternative", "Levers", "Placement"]
