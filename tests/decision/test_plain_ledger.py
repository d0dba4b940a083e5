"""A second derivation of the whole model, in scalars, for one small shop.

It follows two alternatives of ``plain_shop.toml`` from the roll to the ledger with plain Python
numbers, one month at a time, and shares no code with the package: only the last comparison calls
it. Every figure of the study stands here a second time, in SI units, beside its use.

The shop makes badges (printed in eight passes, four in ten laminated, the contour cut twice) and
letters (a rounded rectangle cut from plain film). It keeps two old all-in-one machines and buys in
half of the badges, or it buys two new ones in month 3 and sells the old ones in month 4. It has
time for all that is asked for: nothing is refused and nobody works overtime.
"""

import math
from collections import defaultdict
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from capex import appraise, read_study

STUDY = Path(__file__).with_name("plain_shop.toml")
MINUTE, HOUR, KILOWATT_HOUR = 60.0, 3600.0, 3.6e6
HORIZON, BOUGHT, SOLD, TERM = 20, 3, 4, 24
SEASON = [0.5, 0.7, 0.9, 1.1, 1.3, 1.5, 1.5, 1.3, 1.1, 0.9, 0.7, 0.5]
APRIL = 3
LOADING, LEAVING, REWINDING, SETTING_UP, DRYING = (m * MINUTE for m in (3, 2, 1, 5, 6))
PRINTING_ATTENDED, CUTTING_ATTENDED = 0.1, 0.2
FULL_SPEED, GRAVITY = 0.55, 9.80665
ROLL_WIDTH, ROLL_LENGTH = 1.37, 50.0
FILM_PRICE, OVERLAMINATE_PRICE = 3 / 0.9, 4 / 0.9  # a tenth of what is bought is wasted
CURRENT = 0.15 / KILOWATT_HOUR
AGED_17_MONTHS = 0.65 + (0.5 - 0.65) * 5 / 12


@dataclass
class Order:
    """What one order costs at today's prices and how long it takes [s], good pieces and spoiled."""

    costs: dict
    machine: float
    operators: float
    finishers: float


@dataclass
class Job:
    orders: float
    price: float
    growth: float
    order: Order


# Layout


def laid_out(width, height, pieces, usable, gap=0.005):
    """Rows of pieces, turned whichever way takes less film: length and width used [m]."""
    ways = []
    for across, along in ((width, height), (height, width)):
        if across <= usable:
            in_a_row = min(math.floor((usable + gap) / (across + gap)), pieces)
            rows = math.ceil(pieces / in_a_row)
            ways.append((rows * (along + gap) - gap, in_a_row * (across + gap) - gap))
    return min(ways)


# Printing


def badge_printing(length, width):
    """Set-up of an order (half a run, and its part of a roll change), and the swaths."""
    load_and_check = (3 * MINUTE + 1.5 * MINUTE) / 2
    set_up = load_and_check + 7 * MINUTE * length / ROLL_LENGTH
    swaths = math.ceil(length * 8 / 0.0338) + 7
    return set_up, swaths * ((width + 2 * 0.05) / 1.0 + 0.28)


# Cutting


def start_stop_time(length, speed):
    """From rest to rest: a trapezoid of speed, or a triangle where full speed is not reached."""
    if length >= speed**2 / GRAVITY:
        return length / speed + speed / GRAVITY
    return 2 * math.sqrt(length / GRAVITY)


def badge_cutting(pace):
    """Forty pieces, twice round: 56 segments of a 3 m contour and 13 lifts each."""
    round_trip = 56 * start_stop_time(3.0 / 56, FULL_SPEED * pace) + 13 * 0.09
    return 40 * 2 * round_trip


def rounded_rectangle_time(width, height, radius, steps=20_000):
    """Integrate the knife along the path: v² may rise and fall by 2·a·ds from step to step."""
    arc = math.pi / 2 * radius
    in_the_bend = min(FULL_SPEED, math.sqrt(GRAVITY * radius))
    parts = []
    for side in (width, height, width, height):
        parts += [(arc, in_the_bend), (side - 2 * radius, FULL_SPEED)]
    whole = sum(length for length, _ in parts)
    ds, limit = [], []
    for length, speed in parts:
        n = max(2, int(steps * length / whole))
        ds += [length / n] * n
        limit += [speed] * n
    square = [0.0, *(min(a, b) ** 2 for a, b in pairwise(limit)), 0.0]
    for i in range(1, len(square)):
        square[i] = min(square[i], square[i - 1] + 2 * GRAVITY * ds[i - 1])
    for i in range(len(square) - 2, -1, -1):
        square[i] = min(square[i], square[i + 1] + 2 * GRAVITY * ds[i])
    speed = [math.sqrt(u) for u in square]
    return sum(2 * s / (a + b) for s, (a, b) in zip(ds, pairwise(speed), strict=True))


# Content of an order


def badge_order():
    length, width = laid_out(0.3, 0.2, 40, min(ROLL_WIDTH - 2 * 0.01, 1.30))
    set_up, swaths = badge_printing(length, width)
    marks = math.ceil(length / 1.5) * 8
    laminator = 6 * MINUTE / 2 + length / (1.5 / MINUTE)
    reload = 4 * MINUTE / 2
    # Orders to start for one good one: the spoil of printing and of cutting follow each other.
    plain = 0.6 / ((1 - 0.01) * (1 - 0.02))
    laminated = 0.4 / ((1 - 0.01) * (1 - 0.05))
    started = plain + laminated
    machine_plain = set_up + swaths + DRYING + REWINDING + marks + badge_cutting(1.0) + LEAVING
    machine_laminated = set_up + swaths + LEAVING + reload + marks + badge_cutting(0.7) + LEAVING
    hands = SETTING_UP + set_up + PRINTING_ATTENDED * swaths + LEAVING
    hands_plain = hands + CUTTING_ATTENDED * badge_cutting(1.0)
    # The laminator is attended all along; the film is taken off and loaded once more.
    hands_laminated = hands + LEAVING + laminator + reload + CUTTING_ATTENDED * badge_cutting(0.7)
    machine = plain * machine_plain + laminated * machine_laminated
    film = length * ROLL_WIDTH * FILM_PRICE
    overlaminate = length * ROLL_WIDTH * OVERLAMINATE_PRICE
    ink_volume = 40 * (0.3 * 0.2) * 10e-6 * 1.08  # m³, cleaning included
    ink = ink_volume * 150e3
    costs = {
        "film": film,
        "ink": ink,
        "laminate": 0.4 * overlaminate,
        "spoil": (started - 1) * (film + ink) + (laminated - 0.4) * overlaminate,
        "heads": started * ink_volume / 15e-3 * 1600,
        "blades": started * 40 * 3.0 * 2 / 3000 * 28,
        "power": machine * 1700 * CURRENT,
        "other": 1.5,
    }
    return Order(
        costs,
        machine,
        plain * hands_plain + laminated * hands_laminated,
        started * (10 + 8 + 3) * MINUTE,
    )


def letter_order():
    length, _ = laid_out(1.2, 1.0, 1, min(ROLL_WIDTH - 2 * 0.01, 1.30))
    knife = rounded_rectangle_time(1.2, 1.0, 0.010) + 0.09
    reload = 4 * MINUTE / 2
    started = 1 / (1 - 0.03)
    machine = started * (reload + knife + LEAVING)
    film = length * ROLL_WIDTH * FILM_PRICE
    contour = 2 * (1.2 + 1.0) - 8 * 0.010 + 2 * math.pi * 0.010
    costs = {
        "film": film,
        "spoil": (started - 1) * film,
        "blades": started * contour / 3000 * 28,
        "power": machine * 1700 * CURRENT,
    }
    hands = SETTING_UP + reload + CUTTING_ATTENDED * knife + LEAVING
    return Order(costs, machine, started * hands, started * 3 * MINUTE)


@cache
def jobs():
    return {
        "badge": Job(60, 260, 0.08, badge_order()),
        "letter": Job(30, 95, -0.05, letter_order()),
    }


# Months


def months_of_trade(renewed):
    """Every line that a month of trade brings, {line: [month 0 … 20]}."""
    rows = defaultdict(lambda: [0.0] * (HORIZON + 1))
    for month in range(1, HORIZON + 1):
        old = 2 if not renewed or month <= SOLD else 0
        new = 2 if renewed and month > BOUGHT else 0
        machine, operators, finishers = month_of_jobs(rows, month, renewed)
        month_of_people(rows, month, operators, finishers)
        month_of_machines(rows, month, old, new, machine)
        rows["floor_space"][month] -= floor(old, new) * 120 / 12 * level(0.05, month)
    return rows


def level(rate, month):
    """Prices step up once a year."""
    return (1 + rate) ** ((month - 1) // 12)


def month_of_jobs(rows, month, renewed):
    """Enter sales, materials and bought-in work; return the seconds of work."""
    machine = operators = finishers = 0.0
    won_back = 1.0
    if renewed and month > BOUGHT:
        won_back += 0.05 * min(1.0, (month - 0.5 - BOUGHT) / 3)
    for key, job in jobs().items():
        grown = job.orders * (1 + job.growth) ** ((month - 1) / 12)
        demand = grown * SEASON[(APRIL + month - 1) % 12] * won_back
        bought_in = 0.5 * demand if key == "badge" and not renewed else 0.0
        made = demand - bought_in
        rows[f"sales.{key}"][month] += demand * job.price * level(0.02, month)
        rows["bought_in"][month] -= bought_in * 109 * level(0.03, month)
        for line, cost in job.order.costs.items():
            rows[line][month] -= made * cost * level(0.03, month)
        machine += made * job.order.machine
        operators += made * job.order.operators
        finishers += made * job.order.finishers
    return machine, operators, finishers


def month_of_people(rows, month, operators, finishers):
    """Pay all staffed hours, less the quarter of the idle ones that finds other work."""
    working = 20 * (8 - 0.5) * HOUR
    assert operators <= 1.5 * working
    assert finishers <= 0.5 * working
    paid = 20 * 8 * HOUR * (1.5 + 0.5)
    idle = (1.5 + 0.5) * working - operators - finishers
    rows["wages"][month] -= (paid - 0.25 * idle) * 20 * 1.3 / HOUR * level(0.04, month)


def month_of_machines(rows, month, old, new, work):
    """Enter service, insurance and power while ready; new machines take all work at once."""
    overheads = level(0.05, month)
    staffed = 20 * 8 * HOUR
    rows["service"][month] -= 2000 / 12 * (old + new) * overheads
    insured = 20000 * old + 18000 * new + 9500
    rows["insurance"][month] -= 0.01 / 12 * insured * overheads
    waiting = (old + new) * staffed - work
    rows["standby"][month] -= waiting * 400 * CURRENT * overheads


def floor(old, new):
    """One row of machines and a laminator, with a passage at each end and in between."""
    machines = old + new
    length = 2.7 * machines + 2.0 + 0.6 * (machines + 2)
    return length * (0.8 + 1.0 + 0.9)


# Investment and working capital


def enter_investment(rows):
    """Enter what is bought and sold; return what it adds to taxable income by year.

    The horizon ends in the second year of the scale 20 %, 32 %, …; what is not written off by
    then is settled against the salvage. The old machines are written off already.
    """
    price, installation, training = 2 * 18000, 2 * 1000, 500
    proceeds, salvage = 2 * 2500, 2 * 18000 * AGED_17_MONTHS
    rows["purchase"][BOUGHT] -= price
    rows["installation"][BOUGHT] -= installation
    rows["training"][BOUGHT] -= training
    rows["sold"][SOLD] += proceeds
    rows["salvage"][HORIZON] += salvage
    cost = price + installation
    book = cost * (1 - 0.20 - 0.32)
    return [proceeds - training - 0.20 * cost, salvage - book - 0.32 * cost]


def enter_working_capital(rows):
    """A month and a half of what sales are above today's, released at the horizon.

    Today's are those that the shop as it is makes in its first month.
    """
    kept = months_of_trade(renewed=False)
    today = before = kept["sales.badge"][1] + kept["sales.letter"][1]
    for month in range(1, HORIZON + 1):
        sales = rows["sales.badge"][month] + rows["sales.letter"][month]
        rows["working_capital"][month] -= 1.5 * (sales - before)
        before = sales
    rows["working_capital"][HORIZON] += 1.5 * (before - today)


# Tax and loan


def by_year(flow):
    """Months 0 … 12 and 13 … 20."""
    return [sum(flow[:13]), sum(flow[13:])]


def tax_by_year(income):
    """A quarter of what cumulative income rises above its highest mark: losses go forward."""
    cumulative = mark = 0.0
    taxes = []
    for amount in income:
        cumulative += amount
        taxes.append(0.25 * max(cumulative - mark, 0.0))
        mark = max(mark, cumulative)
    return taxes


def enter_at_year_ends(rows, line, amounts):
    for month, amount in zip((12, HORIZON), amounts, strict=True):
        rows[line][month] += amount


def enter_loan(rows, income):
    """Four fifths of the price at 9 %, level payments; the rest is repaid at the horizon."""
    drawn, rate = 0.8 * 2 * 18000, 0.09 / 12
    payment = drawn * rate / (1 - (1 + rate) ** -TERM)
    rows["loan"][BOUGHT] += drawn
    rows["loan_fee"][BOUGHT] -= 0.02 * drawn
    owed = drawn
    for month in range(BOUGHT + 1, HORIZON + 1):
        interest = owed * rate
        rows["interest"][month] -= interest
        rows["principal"][month] -= payment - interest
        owed -= payment - interest
    rows["loan_settled"][HORIZON] -= owed
    spent = zip(by_year(rows["interest"]), by_year(rows["loan_fee"]), strict=True)
    lower = [profit + sum(part) for profit, part in zip(income, spent, strict=True)]
    pairs = zip(tax_by_year(income), tax_by_year(lower), strict=True)
    enter_at_year_ends(rows, "interest_tax", [without - borrowed for without, borrowed in pairs])


# The ledger


@cache
def plain_ledger(renewed):
    """Return all lines, {line: [month 0 … 20]}, and the NPV without financing."""
    rows = months_of_trade(renewed)
    income = by_year([sum(row[t] for row in rows.values()) for t in range(HORIZON + 1)])
    if renewed:
        added = enter_investment(rows)
        income = [trade + more for trade, more in zip(income, added, strict=True)]
    enter_at_year_ends(rows, "tax", [-tax for tax in tax_by_year(income)])
    enter_working_capital(rows)
    flows = [sum(row[t] for row in rows.values()) for t in range(HORIZON + 1)]
    value = sum(flow * 1.10 ** (-t / 12) for t, flow in enumerate(flows))
    if renewed:
        enter_loan(rows, income)
    return dict(rows), value


@pytest.fixture(scope="module")
def outcomes():
    return appraise(read_study(STUDY)).outcomes


@pytest.mark.parametrize(("alternative", "renewed"), [("keep", False), ("new", True)])
def test_against_a_plain_ledger_line_by_line(outcomes, alternative, renewed):
    rows, value = plain_ledger(renewed)
    ledger = outcomes[alternative].details.ledger
    keys = {line.key for line in ledger.lines}
    assert set(rows) <= keys
    for key in sorted(keys):
        expected = rows.get(key, [0.0] * (HORIZON + 1))
        np.testing.assert_allclose(ledger.line(key)[0], expected, rtol=1e-9, atol=1e-6, err_msg=key)
    found = outcomes[alternative].net_present_value
    np.testing.assert_allclose(found, [value], rtol=1e-9, atol=1e-6)


def test_sale_proceeds_are_paid_for_every_machine_sold(outcomes):
    sold = outcomes["new"].details.ledger.line("sold")[0]
    assert sold[SOLD] == pytest.approx(2 * 2500)
    assert np.count_nonzero(sold) == 1


def test_loan_fee_lowers_tax_with_the_interest(outcomes):
    """The first year ends in profit either way: a quarter of what the loan costs comes back."""
    ledger = outcomes["new"].details.ledger
    interest, fee = ledger.line("interest")[0], ledger.line("loan_fee")[0]
    assert fee.sum() == pytest.approx(-0.02 * 0.8 * 2 * 18000)
    first_year = ledger.line("interest_tax")[0, 12]
    assert first_year == pytest.approx(0.25 * -(interest[:13].sum() + fee.sum()))
