"""The kinds of entry that the fields of a study accept, with their bounds.

Each pair is an `Entry` (for defaults) and the annotated type that pydantic reads.

Imports pydantic, `capex.study.name_checks` and `capex.study.quantity`.
"""

from __future__ import annotations

import math
from typing import Annotated, Final

from pydantic import AfterValidator, StringConstraints
from pydantic_core import PydanticCustomError

from capex.study.name_checks import hidden_fault
from capex.study.quantity import Entry, Quantity

KEY_PATTERN: Final = r"^[a-z][a-z0-9_]{0,59}$"
CURRENCY_PATTERN: Final = r"^[A-Z]{3}$"


def _visible(name: str) -> str:
    if fault := hidden_fault(name):
        raise PydanticCustomError("hidden_character", "{fault}", {"fault": fault})
    return name


Name = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=80),
    AfterValidator(_visible),
]
Key = Annotated[str, StringConstraints(pattern=KEY_PATTERN)]
CurrencyCode = Annotated[str, StringConstraints(pattern=CURRENCY_PATTERN)]

LENGTH = Entry("length", above=0.0)
Length = Annotated[Quantity, LENGTH]
CLEARANCE = Entry("length", at_least=0.0)
Clearance = Annotated[Quantity, CLEARANCE]
SMALL_LENGTH = Entry("small_length", above=0.0)
SmallLength = Annotated[Quantity, SMALL_LENGTH]
GAP = Entry("small_length", at_least=0.0)
Gap = Annotated[Quantity, GAP]
PATH_LENGTH = Entry("length", at_least=0.0)
PathLength = Annotated[Quantity, PATH_LENGTH]
DISTANCE = Entry("distance", above=0.0)
Distance = Annotated[Quantity, DISTANCE]
SPEED = Entry("speed", above=0.0)
Speed = Annotated[Quantity, SPEED]
FEED_SPEED = Entry("feed_speed", above=0.0)
FeedSpeed = Annotated[Quantity, FEED_SPEED]
ACCELERATION = Entry("acceleration", above=0.0)
Acceleration = Annotated[Quantity, ACCELERATION]
AREA_RATE = Entry("area_rate", above=0.0)
AreaRate = Annotated[Quantity, AREA_RATE]
COVERAGE = Entry("coverage", at_least=0.0)
Coverage = Annotated[Quantity, COVERAGE]
VOLUME = Entry("volume", above=0.0)
Volume = Annotated[Quantity, VOLUME]
DURATION = Entry("duration", at_least=0.0)
Duration = Annotated[Quantity, DURATION]
LONG_DURATION = Entry("long_duration", above=0.0)
LongDuration = Annotated[Quantity, LONG_DURATION]
WAIT = Entry("long_duration", at_least=0.0)
Wait = Annotated[Quantity, WAIT]
DAY_HOURS = Entry("long_duration", at_least=0.0, at_most=24 * 3600.0)
DayHours = Annotated[Quantity, DAY_HOURS]
FORCE = Entry("force", above=0.0)
Force = Annotated[Quantity, FORCE]
MASS = Entry("mass", above=0.0)
Mass = Annotated[Quantity, MASS]
POWER = Entry("power", at_least=0.0)
Power = Annotated[Quantity, POWER]
ANGLE = Entry("angle", at_least=0.0, at_most=math.pi)
Angle = Annotated[Quantity, ANGLE]

MONEY = Entry("money", at_least=0.0, example="13,500 or 13500 USD")
Money = Annotated[Quantity, MONEY]
BALANCE = Entry("money", example="13,500 or 13500 USD")
Balance = Annotated[Quantity, BALANCE]
ANNUAL_AMOUNT = Entry("annual_amount", at_least=0.0)
AnnualAmount = Annotated[Quantity, ANNUAL_AMOUNT]
WAGE = Entry("wage", at_least=0.0)
Wage = Annotated[Quantity, WAGE]
AREA_PRICE = Entry("area_price", at_least=0.0)
AreaPrice = Annotated[Quantity, AREA_PRICE]
VOLUME_PRICE = Entry("volume_price", at_least=0.0)
VolumePrice = Annotated[Quantity, VOLUME_PRICE]
ENERGY_PRICE = Entry("energy_price", at_least=0.0)
EnergyPrice = Annotated[Quantity, ENERGY_PRICE]
RENT = Entry("rent", at_least=0.0)
Rent = Annotated[Quantity, RENT]

SHARE = Entry("fraction", at_least=0.0, at_most=1.0, example="25 % or 0.25")
Share = Annotated[Quantity, SHARE]
LOSS_SHARE = Entry("fraction", at_least=0.0, below=1.0, example="5 % or 0.05")
LossShare = Annotated[Quantity, LOSS_SHARE]
# A yearly rate above 100 % is a slip: 8 typed for 8 %.
RATE = Entry("fraction", above=-1.0, at_most=1.0, example="3 % or 0.03")
Rate = Annotated[Quantity, RATE]
# A load can be above 100 %; above 1000 % a bare 85 for 85 % is the likelier reading.
LOAD_SHARE = Entry("fraction", at_least=0.0, at_most=10.0, example="85 % or 0.85")
LoadShare = Annotated[Quantity, LOAD_SHARE]
COST_RATE = Entry("fraction", at_least=0.0, at_most=1.0, example="8 % or 0.08")
CostRate = Annotated[Quantity, COST_RATE]

SPEED_SHARE = Entry("fraction", above=0.0, at_most=1.0, example="80 % or 0.8")
SpeedShare = Annotated[Quantity, SPEED_SHARE]

COUNT = Entry("number", at_least=0.0, whole=True)
Count = Annotated[Quantity, COUNT]
PIECES = Entry("number", at_least=1.0, whole=True)
Pieces = Annotated[Quantity, PIECES]
# Each machine takes a place on the floor; nobody's shop holds more of one kind.
MACHINES = Entry("number", at_least=1.0, at_most=100.0, whole=True)
Machines = Annotated[Quantity, MACHINES]
LEVEL = Entry("number", at_least=0.0, example="1.2")
Level = Annotated[Quantity, LEVEL]
FACTOR = Entry("number", above=0.0, at_most=1e6, example="1.2 or 120 %")
Factor = Annotated[Quantity, FACTOR]
MULTIPLE = Entry("number", at_least=1.0, example="1.5")
Multiple = Annotated[Quantity, MULTIPLE]
MONTH = Entry("months", at_least=0.0, whole=True, example="36 months or 3 years")
Month = Annotated[Quantity, MONTH]
TERM = Entry("months", at_least=1.0, at_most=480.0, whole=True)
Term = Annotated[Quantity, TERM]
SPAN = Entry("months", at_least=0.0, example="4 months")
Span = Annotated[Quantity, SPAN]
