"""What came of the plan: volumes and costs of the months since the purchase, as they were.

Each figure stands beside one that the plan has of the same month, for the choice that was made.
Records are no inputs: no scenario replaces them, and the plan does not read them.

Imports pydantic and the other files of `capex.study`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date, timedelta
from typing import TYPE_CHECKING, Annotated, Any, Final

from pydantic import AfterValidator, Field, GetCoreSchemaHandler, ValidationInfo
from pydantic_core import PydanticCustomError, core_schema

from capex.errors import Problem
from capex.study.entries import Key
from capex.study.parts import Part
from capex.study.places import MONTHS
from capex.study.quantity import Entry
from capex.units import KINDS

if TYPE_CHECKING:
    from capex.study.study import Study

__all__ = ["ACTUALS_RULES", "RECORDS", "ActualMonth", "Actuals", "last_day"]

#: 2027-01, its day too; 01/2027; Jan 2027, January 2027.
_FORMS: Final = (
    re.compile(r"(?P<year>[12]\d{3})[-/.](?P<month>\d{1,2})(?:[-/.](?:0?[1-9]|[12]\d|3[01]))?"),
    re.compile(r"(?P<month>\d{1,2})[-/.](?P<year>[12]\d{3})"),
    re.compile(r"(?P<name>[A-Za-z]{3,9})\.?,? +(?P<year>[12]\d{3})"),
    re.compile(r"(?P<year>[12]\d{3}) +(?P<name>[A-Za-z]{3,9})\.?"),
)


def _month(text: str) -> str:
    """Return a month as people write it in the form of the study, as 2027-01."""
    for pattern in _FORMS:
        found = pattern.fullmatch(" ".join(text.split()))
        if found is None:
            continue
        parts = found.groupdict()
        number = int(parts["month"]) if "month" in parts else _named_month(parts["name"])
        if 1 <= number <= 12:
            return f"{parts['year']}-{number:02}"
    raise PydanticCustomError("month", "must be a month such as 2027-01, 01/2027 or Jan 2027")


def _named_month(name: str) -> int:
    """Return the number of a month by its name or at least three letters of it; 0 for none."""
    begun = name.casefold() if name.casefold() != "sept" else "sep"
    return next((k for k, full in enumerate(MONTHS, 1) if full.casefold().startswith(begun)), 0)


class Recorded(Entry):
    """What a record accepts; it is held as a plain number in the canonical unit of its kind."""

    def recorded(self, value: object, info: ValidationInfo) -> float:
        """Return a record as a number; it is one figure, without a spread.

        Raises
        ------
        PydanticCustomError
            As `Entry.parsed`, and for a low and a high.
        """
        found = self.parsed(value, info)
        if found.low is not None:
            raise PydanticCustomError(
                "quantity", "{bound}", {"bound": "is a record: one figure", "value": value}
            )
        return found.likely

    def written(self, value: float) -> object:
        """Return a record as it is entered."""
        kind = KINDS[self.kind]
        return value if kind.bare else f"{value!r} {kind.unit}"

    def __get_pydantic_core_schema__(
        self, source: type[Any], handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        """Return the schema that parses records and writes them back as entered."""
        return core_schema.with_info_plain_validator_function(
            self.recorded,
            serialization=core_schema.plain_serializer_function_ser_schema(self.written),
        )


_AMOUNT: Final = Recorded("money", at_least=0.0, example="13,500 or 13500 USD")
_ORDERS: Final = Recorded("number", at_least=0.0, at_most=1e6, example="26")
_HOURS: Final = Recorded("long_duration", at_least=0.0, example="176 h")
Amount = Annotated[float, _AMOUNT]
Orders = Annotated[float, _ORDERS]
Hours = Annotated[float, _HOURS]

#: What each figure of a month accepts, by name.
RECORDS: Final[dict[str, Recorded]] = {
    "orders": _ORDERS, "sales": _AMOUNT, "materials": _AMOUNT, "bought_in": _AMOUNT,
    "wages": _AMOUNT, "hours_paid": _HOURS, "upkeep": _AMOUNT, "downtime": _HOURS,
}  # fmt: skip


class ActualMonth(Part):
    """One calendar month as it was; what is left out is not compared.

    `orders` are those finished or bought in, in total, or `orders_by_job` by job type. `sales` are
    invoiced, without sales tax. `materials` are film, ink, laminate, spoil and other direct cost;
    `upkeep` is service, insurance, heads, blades and power; `wages` are with on-cost and overtime,
    for `hours_paid`; `downtime` is staffed time in which a machine was broken.
    """

    month: Annotated[str, AfterValidator(_month)]
    orders: Orders | None = None
    orders_by_job: dict[Key, Orders] = Field(default_factory=dict)
    sales: Amount | None = None
    materials: Amount | None = None
    bought_in: Amount | None = None
    wages: Amount | None = None
    hours_paid: Hours | None = None
    upkeep: Amount | None = None
    downtime: Hours | None = None

    @property
    def volume(self) -> float:
        """Orders in total."""
        return sum(self.orders_by_job.values()) if self.orders is None else self.orders


class Actuals(Part):
    """The choice that was made, and the months since."""

    choice: Key
    months: tuple[ActualMonth, ...] = Field(default=(), max_length=480, strict=False)

    def places(self, start: date) -> list[int]:
        """Return the month of the plan that each record is of, from 1.

        Parameters
        ----------
        start : date
            Of the plan.

        Examples
        --------
        >>> found = Actuals(choice="frame", months=[{"month": "2027-03", "orders": 20}])
        >>> found.places(date(2027, 1, 1))
        [3]
        """
        return [_place(month.month, start) for month in self.months]


def _place(month: str, start: date) -> int:
    year, number = (int(part) for part in month.split("-"))
    return (year - start.year) * 12 + number - start.month + 1


def last_day(month: str) -> date:
    """Return the last day of a calendar month.

    Examples
    --------
    >>> last_day("2028-02").isoformat()
    '2028-02-29'
    """
    year, number = (int(part) for part in month.split("-"))
    return date(year + number // 12, number % 12 + 1, 1) - timedelta(days=1)


def check_choice(study: Study) -> Iterator[Problem]:
    """Yield a choice made that is no alternative of the study."""
    if study.actuals is not None and study.actuals.choice not in study.alternatives:
        known = ", ".join(study.alternatives)
        yield Problem("actuals.choice", study.actuals.choice, f"must be one of: {known}")


def check_months(study: Study) -> Iterator[Problem]:
    """Yield months outside the plan, out of order, or twice."""
    if study.actuals is None:
        return
    last, before = int(study.money.horizon.likely), 0
    start = study.money.start
    for k, record in enumerate(study.actuals.months):
        text = getattr(record, "month", None)  # one that could not be read is reported already
        if text is None:
            continue
        path, place = f"actuals.months.{k}.month", _place(text, start)
        if not 1 <= place <= last:
            bound = f"must be one of the {last} months of the plan, from {start:%Y-%m} on"
            yield Problem(path, text, bound)
        elif place <= before:
            yield Problem(path, text, "must come after the month before it in the list")
        before = max(before, place)


def check_orders(study: Study, place: int, record: ActualMonth) -> Iterator[Problem]:
    """Yield a month without orders, with both kinds of them, or of job types that are unknown."""
    path = f"actuals.months.{place}.orders"
    if record.orders is None and not record.orders_by_job:
        bound = "is missing: orders, or orders_by_job; the volume explains most of a difference"
        yield Problem(path, None, bound)
    if record.orders is not None and record.orders_by_job:
        yield Problem(path, record.orders, "must be left out where orders_by_job is given")
    for job, number in record.orders_by_job.items():
        if job not in study.jobs:
            known = ", ".join(study.jobs)
            yield Problem(f"{path}_by_job.{job}", number, f"is of no job type; known: {known}")


def check_hours_paid(study: Study, place: int, record: ActualMonth) -> Iterator[Problem]:
    """Yield hours paid without the wages that were paid for them."""
    if record.hours_paid is not None and record.wages is None:
        shown = f"{record.hours_paid / 3600:g} h"
        yield Problem(f"actuals.months.{place}.hours_paid", shown, "needs the wages paid for them")


def _once(study: Study) -> Iterator[tuple[()]]:
    yield ()


def _each(study: Study) -> Iterator[tuple[int, ActualMonth]]:
    if study.actuals is not None:
        yield from enumerate(study.actuals.months)


#: As `capex.study.checks` takes them.
ACTUALS_RULES: Final = (
    ((check_choice, check_months), _once),
    ((check_orders, check_hours_paid), _each),
)
