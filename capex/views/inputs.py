"""The ten inputs that a page lets the user move, each with its unit, range and meaning.

A dial counts in the unit that its slider shows (per cent, currency an hour, years); the study
counts in canonical units; `Dial.scale` lies between the two.

May import: from capex errors, numerals, units, study, `shopfloor.mix` and `shopfloor.trigger`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from capex.errors import UnitError
from capex.numerals import bare_number
from capex.shopfloor.mix import laminated_share
from capex.shopfloor.trigger import followed_study
from capex.study import Quantity, Study
from capex.units import parse_number

__all__ = ["LAMINATED_SHARE", "Dial", "dials"]

LAMINATED_SHARE: Final = "levers.laminated_share"

_DEMAND: Final = (
    "Orders of every type, against the order volume of the study. More orders fill the machines; "
    "what no longer fits is worked in overtime, bought in or refused."
)
_GROWTH: Final = "Added to each job type's own growth, every year up to the horizon."
_PRICE: Final = "Every selling price, against the study. The volume stays as it is."
_LAMINATED: Final = (
    "Share of the orders that can be laminated and are. Laminated work leaves the all-in-one, "
    "waits, and comes back to be cut."
)
_PRINT_RATE: Final = "How fast every printer prints, against the study, in every choice."
_CUT_SPEED: Final = (
    "The set speed of every knife, against the study. Acceleration stays, so short cut lines "
    "hardly gain."
)
_WAGE: Final = "Paid an hour, before the on-cost of the study. The same people in every choice."
_MACHINE_PRICES: Final = "Price of every machine to be bought, against the study."
_DISCOUNT_RATE: Final = "What money would earn elsewhere at a like risk, a year, nominal."
_HORIZON: Final = "How long the choice is followed; at its end machines are sold at resale value."


@dataclass(frozen=True)
class Dial:
    """One input that can be moved.

    Parameters
    ----------
    path : str
        Of the input in the study.
    label, unit, hint : str
        For people; ``{currency}`` in the unit stands for the currency shown.
    low, high, step : float
        Range and step of the slider, in the unit shown. Typed values may go beyond.
    digits : int
        Decimals shown at least.
    scale : float
        Unit shown over canonical unit.
    home : float
        The study's own value, canonical unit.
    source : str
        Where the study's value comes from.
    spread : tuple of float or None
        The study's low and high value, canonical unit.
    money : bool
        Whether the value changes with the currency shown.
    """

    path: str
    label: str
    unit: str
    hint: str
    low: float
    high: float
    step: float
    digits: int
    scale: float
    home: float
    source: str
    spread: tuple[float, float] | None = None
    money: bool = False

    @property
    def bounds(self) -> tuple[float, float]:
        """Ends of the slider in the unit shown, wide enough for the study's own value."""
        home = self.home * self.scale
        return min(self.low, math.floor(home)), max(self.high, math.ceil(home - 1e-9))

    def decimals(self, shown: float) -> int:
        """Return how many decimals a value needs, so that it is shown as it is used.

        A value that ends within six decimals is shown whole; one that does not (2/3, or money in
        another currency) with two decimals more than the least.

        Parameters
        ----------
        shown : float
            In the unit shown.

        Examples
        --------
        >>> from capex.study import data_folder, read_study
        >>> demand = dials(read_study(data_folder() / "studies" / "quenlow.toml"))[0]
        >>> [demand.decimals(value) for value in (112.0, 112.35, 200 / 3)]
        [0, 2, 2]
        """
        near = 1e-9 * max(1.0, abs(shown))
        ends = (d for d in range(self.digits, 7) if abs(round(shown, d) - shown) <= near)
        return next(ends, self.digits + 2)

    def typed(self, text: str, study: Study, rate: float = 1.0) -> float:
        """Return a typed value in the canonical unit.

        Parameters
        ----------
        text : str
            A bare number counts in the unit shown; a unit may follow it.
        study : Study
            For its currency.
        rate : float
            Exchange rate of the currency shown.

        Raises
        ------
        UnitError
            Not a number, or another unit than this input's.

        Examples
        --------
        >>> from capex.study import data_folder, read_study
        >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
        >>> demand = dials(study)[0]
        >>> demand.typed("125", study), demand.typed("62.5 %", study)
        (1.25, 0.625)
        """
        plain = text.strip()
        bare = bare_number(plain)
        if bare is not None:
            number = float(bare)
            if not math.isfinite(number):
                raise UnitError(self.path, text, "is not a finite number")
            return number / self.scale / (rate if self.money else 1.0)
        kind = study.quantity(self.path).entry.kind if self.path != LAMINATED_SHARE else "fraction"
        example = "120 %" if kind == "number" else ""
        kind = "fraction" if kind == "number" else kind
        return parse_number(plain, kind, field=self.path, currency=study.currency, example=example)


def dials(study: Study) -> tuple[Dial, ...]:
    """Return the ten inputs of a study in the order of the page.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> [dial.label for dial in dials(study)][:3]
    ['Demand', 'Growth', 'Selling prices']
    """

    def dial(
        path: str,
        label: str,
        unit: str,
        hint: str,
        range_: tuple[float, float, float],
        *,
        digits: int = 0,
        scale: float = 100.0,
        money: bool = False,
    ) -> Dial:
        quantity = study.quantity(path)
        return Dial(
            path, label, unit, hint, *range_, digits, scale, quantity.likely,
            _source(quantity), _spread(quantity), money,
        )  # fmt: skip

    wage = study.shop.people.wage.likely * 3600.0
    # an earlier end would leave out a purchase; one that no load sets off is past the horizon
    choices, end = followed_study(study).alternatives.values(), study.money.horizon.likely
    bought = [float(p.month.si[0]) for choice in choices for p in choice.machines]
    years = math.floor(max((month for month in bought if month <= end), default=0) / 12) + 1
    return (
        dial("levers.demand", "Demand", "% of today", _DEMAND, (50, 200, 1)),
        dial("levers.growth_shift", "Growth", "points more a year", _GROWTH,
             (-10, 15, 0.5), digits=1),
        dial("levers.price", "Selling prices", "% of study", _PRICE, (70, 130, 1)),
        _laminated(study),
        dial("levers.print_rate", "Print rate", "% of study", _PRINT_RATE, (50, 200, 5)),
        dial("levers.cut_speed", "Cut speed", "% of study", _CUT_SPEED, (50, 200, 5)),
        dial("shop.people.wage", "Wage", "{currency}/h", _WAGE,
             (math.floor(wage / 2), math.ceil(wage * 2), 0.5), digits=2, scale=3600.0, money=True),
        dial("levers.machine_price", "Machine prices", "% of study", _MACHINE_PRICES,
             (50, 150, 1)),
        dial("money.discount_rate", "Discount rate", "% a year", _DISCOUNT_RATE, (0, 25, 0.5),
             digits=1),
        dial("money.horizon", "Horizon", "years", _HORIZON, (years, 15, 1), scale=1 / 12),
    )  # fmt: skip


def _laminated(study: Study) -> Dial:
    quantity = study.levers.laminated_share
    home = float(laminated_share(study)[0]) if quantity is None else quantity.likely
    source = "from the job types" if quantity is None else _source(quantity)
    return Dial(
        LAMINATED_SHARE, "Laminated share", "% of laminable", _LAMINATED, 0, 100, 1, 0,
        100.0, home, source, None if quantity is None else _spread(quantity),
    )  # fmt: skip


def _source(quantity: Quantity) -> str:
    return quantity.source if quantity.on is None else f"{quantity.source} {quantity.on}"


def _spread(quantity: Quantity) -> tuple[float, float] | None:
    if quantity.low is None or quantity.high is None:
        return None
    return quantity.low, quantity.high
