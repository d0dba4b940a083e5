"""The parts of a document about the shop: its orders, machines, room, and what is only assumed.

Imports from capex decision, shopfloor, study and views.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from itertools import groupby

from capex.decision.outcome import Outcome
from capex.shopfloor.plan import floor_plan
from capex.shopfloor.stations import availability
from capex.study import Quantity, Study
from capex.study.places import SHORT_MONTHS
from capex.study.shop import People
from capex.views.bank import evidence
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look
from capex.views.documents.paper.content import Block, Drawing, Grid, Section, Words
from capex.views.documents.paper.drawing import for_paper
from capex.views.documents.paper.findings import LenderFindings
from capex.views.plan_svg import plan_svg
from capex.views.wording import CAUTIONS, input_name

__all__ = ["assumptions", "cautions", "floor", "service", "shop", "staff_words", "unknown"]


def shop(found: LenderFindings, look: Look) -> Section:
    """Return what the shop makes and sells, and when."""
    study = found.study
    sold = {
        key: float(job.orders_per_month.likely * job.price.likely)
        for key, job in study.jobs.items()
    }
    total = sum(sold.values())
    rows = [
        [
            job.name,
            f"{job.orders_per_month.likely:,.4g}",
            look.money(float(job.price.likely)),
            look.money(12 * sold[key]),
            f"{sold[key] / total:.0%}" if total else "–",
            f"{job.laminated.likely:.0%}",
            f"{job.growth.likely:+.1%}".replace("-", "−"),
        ]
        for key, job in sorted(study.jobs.items(), key=lambda pair: -sold[pair[0]])
    ]
    orders = sum(float(job.orders_per_month.likely) for job in study.jobs.values())
    people, hours = study.shop.people, study.shop.hours
    said = (
        f"The order book has {orders:,.4g} orders in a usual month, worth {look.money(12 * total)} "
        f"a year. Staffed by {staff_words(people)}, {hours.hours_per_day.shown(look.units)} a day "
        f"on {hours.days_per_month.likely:g} days a month."
    )
    seasons = [f"{float(share.likely):.2f}" for share in study.shop.seasonality]
    return Section("shop", "The shop and its order book", [
        Words([said, _first_year(found, look)]),
        Grid("Job types, the largest first",
             ChartTable(["Job type", "Orders a month", "Price an order", "Sales a year", "Share",
                         "Laminated", "Growth a year"], rows)),
        Grid("Orders by calendar month, 1 is the average month",
             ChartTable(["", *SHORT_MONTHS], [["Share", *seasons]]), small=True,
             shares=(1.5, *[1.0] * len(SHORT_MONTHS))),
    ])  # fmt: skip


def _first_year(found: LenderFindings, look: Look) -> str:
    """Return what the first year sells, and what of it is more than the order book has."""
    study, outcome = found.study, found.outcome
    months = min(12, int(outcome.horizon[0]))
    sales = float(outcome.path.ledger.group("sales")[0, : months + 1].sum())
    choice = study.alternatives[found.choice]
    back = choice.recovered_demand or study.shop.after_purchase.recovered_demand
    said = f"{choice.name} counts on sales of {look.money(sales)} in the first "
    said += "year" if months == 12 else f"{months} months"
    said += ": these orders by their season, with the growth below"
    if choice.bought and back.likely > 0:
        said += f", and {back.likely:.1%} more that come back with a new machine ({_origin(back)})"
    return f"{said}; what the shop has no hours for is left out."


def staff_words(people: People) -> str:
    """Return who works in the shop; finishers only where it has some of their own.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> staff_words(read_study(data_folder() / "studies" / "quenlow.toml").shop.people)
    '1 operator and 1.2 finishers'
    """
    each = ((people.operators.likely, "operator"), (people.finishers.likely, "finisher"))
    return " and ".join(f"{n:g} {word}{'' if n == 1 else 's'}" for n, word in each if n > 0)


def _machines(found: LenderFindings) -> Iterator[str]:
    """Yield the keys of the machines of the choice that are not sold at once."""
    seen = set()
    for placed in found.study.alternatives[found.choice].machines:
        gone = placed.sold_in_month is not None and placed.sold_in_month.likely == 0
        if not gone and placed.machine not in seen:
            seen.add(placed.machine)
            yield placed.machine


def service(found: LenderFindings, look: Look) -> Section:
    """Return what service costs, how often each machine stops, and how long it stands."""
    study, rows = found.study, []
    for key in _machines(found):
        machine = study.machines[key]
        between, repair = machine.mean_time_between_failures, machine.mean_time_to_repair
        rows.append([
            machine.name,
            look.money(float(machine.service.likely)),
            between.shown(look.units),
            repair.shown(look.units),
            f"{float(availability(machine)[0]):.1%}",
            _origin(machine.service),
            _origin(between),
        ])  # fmt: skip
    return Section("service", "Downtime and service", [
        Words([
            "Capacity is what is left after warm-up, daily care and expected repairs. One broken "
            "printer of two halves the printing; a broken all-in-one stops printing and cutting."
        ]),
        Grid("Machines of this choice",
             ChartTable(["Machine", "Service a year", "Works between failures", "Repair takes",
                         "Fit to run, of its hours", "Service: source", "Failures: source"], rows)),
        Words(["Agree in writing who answers a call, within how many hours, and what a call costs "
               "after the warranty."], "note"),
    ])  # fmt: skip


def floor(found: LenderFindings, look: Look) -> Section | None:
    """Return the plan of the room to scale and what passes and fails; None without a room."""
    study = found.study
    if study.room is None:
        return None
    plan = floor_plan(study, found.choice)
    failing = [each for each in plan.findings if each.status == "fail"]
    asked = [each for each in plan.findings if each.status == "ask"]
    said = [f"✗ {each.rule}: {each.sentence(look.units)}" for each in failing]
    passing = sum(each.status == "pass" for each in plan.findings)
    reading = (
        f"{plan.alternative} in the room, to scale: {passing} rules pass, {len(failing)} fail, "
        f"{len(asked)} are for others to answer."
    )
    blocks: list[Block] = [
        Drawing("Plan", for_paper(plan_svg(plan, look.units)), reading, share=0.82)
    ]
    if said:
        blocks.append(Words(said, "list"))
    if asked:
        rules = Counter(each.rule for each in asked)
        each = (f"{rule} ({n} times)" if n > 1 else rule for rule, n in rules.items())
        blocks.append(Words([f"To be answered by those who may: {'; '.join(each)}."], "note"))
    return Section("floor", "The room", blocks)


def _origin(quantity: Quantity) -> str:
    said = quantity.source.upper() if quantity.source == "default" else quantity.source
    return said if quantity.on is None else f"{said}, {quantity.on}"


def _spread(quantity: Quantity, look: Look) -> str:
    if quantity.low is None or quantity.high is None:
        return "–"
    study = look.study
    low, high = (
        quantity.replaced([end], "").shown(look.units, study.currency)
        for end in (quantity.low, quantity.high)
    )
    return f"{low} to {high}"


def _whole(path: str) -> str:
    """Return the path of the list that a number stands in, or of the number itself."""
    return re.sub(r"\.\d+$", "", path)


def _concerns(path: str, study: Study, choice: str) -> bool:
    """Return whether an input has to do with the choice or its baseline."""
    head, *rest = path.split(".")
    placements = [
        placed for key in (choice, study.baseline) for placed in study.alternatives[key].machines
    ]
    if head == "room":
        return False
    if head == "alternatives":
        return rest[0] in (choice, study.baseline) and not _of_getting_owned(path, study)
    if head == "offers":
        return rest[0] in {placed.offer for placed in placements}
    return head != "machines" or rest[0] in {placed.machine for placed in placements}


def _of_getting_owned(path: str, study: Study) -> bool:
    """Return whether an input says when, or at what cost, a machine is got that is there."""
    _, key, *rest = path.split(".")
    if len(rest) < 3 or rest[0] != "machines":
        return False
    placed = study.alternatives[key].machines[int(rest[1])]
    return placed.owned and rest[2] in ("month", "freight_and_installation", "training")


def assumptions(found: LenderFindings, look: Look) -> Section:
    """Return every figure behind the choice with its range, source and date; defaults stand out."""
    study = found.study
    rows: list[list[str]] = []
    strong = []
    stated = [pair for pair in study.quantities() if _concerns(pair[0], study, found.choice)]
    for path, alike in groupby(stated, lambda pair: _whole(pair[0])):
        each = [quantity for _, quantity in alike]
        if each[0].source == "default":
            strong.append(len(rows))
        name = input_name(study, path)
        rows.append([
            name[:1].upper() + name[1:],
            ", ".join(quantity.shown(look.units, study.currency) for quantity in each),
            _spread(each[0], look) if len(each) == 1 else "–",
            _origin(each[0]),
        ])  # fmt: skip
    note = (
        f"Money in {study.currency}, as entered. Figures in bold are defaults of the program: "
        "nobody has entered, measured or quoted them. The room's measures stand on its plan."
    )
    return Section("assumptions", "Every figure behind this, with its source", [
        Words([note], "note"),
        Grid("Inputs", ChartTable(["Input", "Value", "Low to high", "Source"], rows), small=True,
             strong=tuple(strong)),
    ], new_page=True)  # fmt: skip


def unknown(found: LenderFindings, look: Look, outcome: Outcome) -> Section:
    """Return what nobody has measured yet, and what the figures leave out."""
    said = evidence.evidence_sentences(look, found.swings)
    table = evidence.evidence_table(found.swings, look)
    left_out = [
        "What competitors do, and orders that only a new machine would bring in, beyond the "
        "volumes stated.",
        "Whether the people needed can be found at the wage stated.",
        "What a machine is worth in a forced sale: resale follows the curve stated for its model.",
        f"Anything after {int(outcome.horizon[0]) / 12:.3g} years.",
    ]
    blocks: list[Block] = [Words(said)]
    if table is not None:
        blocks.append(Grid("The most influential inputs", table))
    blocks.append(Words(["Left out of every figure here:"]))
    blocks.append(Words(left_out, "list"))
    return Section("unknown", "What is not known", blocks)


def cautions() -> Section:
    """Return the cautions that belong to a purchase of machines."""
    return Section("cautions", "Before anybody signs", [Words(list(CAUTIONS), "list")])
