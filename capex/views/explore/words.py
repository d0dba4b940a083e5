"""The page's words: headline figures, drivers, and how many draws stand behind them.

Texts that come from a user are escaped here. May import: numpy, and from capex study, units,
decision and views.
"""

from __future__ import annotations

from html import escape

import numpy as np

from capex.decision.price_limit import PriceLimit, PriceReason
from capex.decision.risk import chances
from capex.decision.risk.simulation import Simulation
from capex.decision.risk.spider import InputLine, Spider
from capex.study import Study
from capex.units import UnitSystem, quantity_text
from capex.views.charts.picture import Look, joined
from capex.views.explore.drawn_tables import twin_words
from capex.views.explore.state import Drawing, Nearby
from capex.views.inputs import Dial
from capex.views.late_orders import lateness_note
from capex.views.risk import chance_text
from capex.views.state import Result
from capex.views.wording import input_name

__all__ = [
    "draws_sentence",
    "drivers_html",
    "fact_html",
    "input_title",
    "input_value",
    "price_fact",
    "shares_fact",
    "volume_fact",
]

_TOP = 5
_FAR = 5
_WAIT = "working…"


def input_value(study: Study, path: str, value: float, system: UnitSystem) -> str:
    """Return a value of an input with its unit; a factor on the study as a share of it."""
    if path.startswith("levers.") and study.quantity(path).entry.kind == "number":
        return f"{100.0 * value:.3g}%"
    return quantity_text(value, study.quantity(path).entry.kind, system, study.currency, 3)


def input_title(study: Study, path: str) -> str:
    """Return the name of an input with a capital letter, the names in it as they are."""
    name = input_name(study, path)
    return name[:1].upper() + name[1:]


def fact_html(term: str, figure: str, more: str, rest: str = "", *, busy: bool = False) -> str:
    """Return one headline figure; a busy one is being worked out anew.

    Parameters
    ----------
    term, figure, more : str
    rest : str
        What a phone shows only on request.
    busy : bool
    """
    wait = f"<em class='capex-wait'>{_WAIT}</em> " if busy else ""
    return (
        f"<div class='capex-fact' aria-busy='{str(busy).lower()}'><dt>{escape(term)}</dt>"
        f"<dd><strong>{escape(figure)}</strong> <span>{wait}{escape(more)}</span>"
        f"<span class='capex-rest'> {escape(rest)}</span></dd></div>"
    )


def price_fact(
    found: Nearby | None, result: Result, dial: Dial | None, name: str, look: Look
) -> str:
    """Return the most that the machine on offer may cost, what it costs here, and the margin."""
    if dial is None:
        return fact_html("Most you can pay", "–", "no machine is bought in this study")
    today = result.scenario.get(dial.path, dial.home) * dial.scale
    term = f"Most you can pay for {name}"
    if found is None or found.against_baseline is None or found.against_rival is None:
        return fact_html(term, "–", f"here it costs {look.money(today)}", busy=True)
    limits = [found.against_baseline, found.against_rival]
    known = [limit for limit in limits if limit.price is not None]
    out = [one for one in limits if one.reason is PriceReason.NOT_FREE]
    # A change of its own price does not change the most that can be paid for it.
    same = _all_but(found.result, dial.path) == _all_but(result, dial.path)
    if out:
        return fact_html(term, "nothing", f"{_than(out[0], look)} leaves more even if it is free; "
                         f"here it costs {look.money(today)}", busy=not same)  # fmt: skip
    if not known:
        return fact_html(term, "any price", limits[1].reason.words, busy=not same)
    least = min(known, key=lambda one: float(one.price or 0.0))
    assert least.price is not None
    margin = least.price - today
    side = "below" if margin >= 0 else "above"
    others = [one for one in known if one is not least]
    rest = " ".join(f"Level with {_than(one, look)} at {look.money(float(one.price or 0))}."
                    for one in others)  # fmt: skip
    lender, far = _lender_words(found.at_lender, today, look)
    return fact_html(
        term, look.money(least.price),
        f"Here {look.money(today)}, {look.money(abs(margin))} {side}. {lender}".strip(),
        f"Above {look.money(least.price)} {_than(least, look)} leaves more. {rest} {far}".strip(),
        busy=not same,
    )  # fmt: skip


def _lender_words(limit: PriceLimit | None, today: float, look: Look) -> tuple[str, str]:
    """Return up to which price cover stays at the lender's minimum, and what can wait of that.

    A limit many times the price says at first no more than that it is far away.
    """
    if limit is None:
        return "", ""
    if limit.price is None:
        return f"No lender's limit: {limit.reason.words}.", ""
    said = look.money(limit.price)
    if limit.price > _FAR * today:
        return "Lender's limit far above.", f"The lender's limit is {said}."
    return f"Lender's limit {said}.", ""


def _all_but(result: Result, path: str) -> dict[str, float]:
    place, _, last = path.rpartition(".")
    return {key: value for key, value in result.scenario.items()
            if key != path and not (place and key.startswith("alternatives.")
                                    and key.endswith(f".{last}"))}  # fmt: skip


def _than(limit: PriceLimit, look: Look) -> str:
    if limit.against is None:
        return "another choice"
    name = look.study.alternatives[limit.against].name
    return f"“{name}”" if limit.against == look.study.baseline else name


def volume_fact(found: Nearby | None, result: Result, look: Look) -> str:
    """Return at which volume the choice changes, and from which the best one pays at all."""
    names = [outcome.name for outcome in result.appraisal.outcomes.values()]
    busy = found is None or found.result.sweep is not result.sweep
    leader = result.sweep.gains.argmax(axis=1)
    low, high = result.sweep.volumes[[0, -1]]
    if found is not None and not busy:
        changes = [(f"{one.volume:.0%}", one.below, one.above) for one in found.crossovers]
    else:
        volumes = result.sweep.volumes
        changes = [
            (f"{volumes[k]:.0%} to {volumes[k + 1]:.0%}", int(leader[k]), int(leader[k + 1]))
            for k in np.flatnonzero(np.diff(leader))
        ]
    term = "Break-even volume"
    if not changes:
        more = f"{names[int(leader[0])]} leaves most from {low:.0%} to {high:.0%} of today's orders"
        return fact_html(term, "none", f"{more}.", _pays(result), busy=busy)
    said = "; ".join(
        f"Below {'it' if len(changes) == 1 else text} {names[one]}, above {names[other]}"
        for text, one, other in changes
    )
    nearest = min(changes, key=lambda one: abs(float(one[0].split("%")[0]) / 100 - result.volume))
    return fact_html(
        term, f"{nearest[0]} of today's", f"{said}.", f"Set: {result.volume:.0%}. {_pays(result)}",
        busy=busy,
    )  # fmt: skip


def _pays(result: Result) -> str:
    """Return from which volume the best choice leaves more than the baseline."""
    outcomes, best = result.appraisal.outcomes, result.verdict.best
    baseline = result.study.baseline
    if best == baseline:
        return ""
    gains = result.sweep.gains[:, list(outcomes).index(best)]
    name, than = outcomes[best].name, f"“{outcomes[baseline].name}”"
    volumes = result.sweep.volumes
    if (gains > 0).all():
        low, high = volumes[[0, -1]]
        return f"{name} leaves more than {than} from {low:.0%} to {high:.0%}."
    turns = np.flatnonzero(np.diff(np.sign(gains)))
    at = [
        volumes[k] + (volumes[k + 1] - volumes[k]) * gains[k] / (gains[k] - gains[k + 1])
        for k in turns
    ]
    return f"{name} is level with {than} at about {joined([f'{each:.0%}' for each in at])}."


def shares_fact(found: Simulation | None, look: Look, *, busy: bool, waits: bool) -> str:
    """Return how likely each choice is to leave most, the likeliest first."""
    term = "Chance of leaving most"
    if waits:
        return fact_html(term, "–", "every order of every year is being simulated first, as late "
                         "orders cost money in this study", busy=True)  # fmt: skip
    if found is None:
        return fact_html(term, "–", "drawing every uncertain input at once", busy=True)
    shares = chances.best_shares(found.gains)
    order = sorted(range(len(shares)), key=lambda k: -shares[k].value)
    names = [choice.name for choice in look.study.alternatives.values()]
    rest = "; ".join(f"{names[k]} {chance_text(shares[k])}" for k in order[1:])
    first = f"{names[order[0]]}; {found.draws.count:,} draws, seed {found.draws.seed}."
    more = f"± is the simulation error. {rest}." if rest else "± is the simulation error."
    told: set[int] = set()
    for one, others in chances.twins(found.gains).items():
        if one not in told:
            told |= {one, *others}
            more += f" {names[one]} is {twin_words([names[k] for k in others])}."
    return fact_html(term, chance_text(shares[order[0]]), first, more, busy=busy)


def draws_sentence(found: Simulation | None, drawing: Drawing | None, *, current: bool) -> str:
    """Return how many draws stand behind the figures, their seed, and what is on the way."""
    said = ""
    if found is not None:
        said = f"{found.draws.count:,} draws of {len(found.draws.inputs)} uncertain inputs, "
        said += f"seed {found.draws.seed}."
        said += lateness_note(found.study)
        said += "" if current else " They belong to the inputs before the last change."
    if drawing is not None:
        said += f" Being worked out: {drawing.count:,} draws, {drawing.done:.0%} done."
    return said.strip()


def drivers_html(found: Nearby, look: Look, *, busy: bool) -> str:
    """Return the five inputs that move the lead most, each between its P10 and its P90."""
    keys = list(found.result.appraisal.outcomes)
    ranking = found.result.verdict.ranking
    if len(ranking) < 2:
        return ""
    one, other = keys.index(ranking[0]), keys.index(ranking[1])
    swings = found.spider.swings(one, other)[:_TOP]
    names = [look.study.alternatives[key].name for key in ranking[:2]]
    if not swings or swings[0][1] <= 0:
        return "<p class='capex-note'>No input with a low and a high value moves this lead.</p>"
    largest = swings[0][1]
    items = "".join(
        _driver(found.spider, line, change, (one, other), largest, look) for line, change in swings
    )
    # in the same place, so that nothing moves on a phone
    beside = (
        f"<em class='capex-wait'>{_WAIT}</em>"
        if busy
        else "<small style='font-weight:400'>change of lead, P10–P90</small>"
    )
    return (
        f"<h2>What matters most {beside}</h2><p class='capex-note capex-rest'>Each input alone "
        f"from its 10th to its 90th percentile: what {escape(names[0])} leaves more than "
        f"{escape(names[1])}.</p>"
        f"<ol class='capex-drivers' aria-busy='{str(busy).lower()}'>{items}</ol>"
    )


def _driver(
    web: Spider, line: InputLine, change: float, pair: tuple[int, int], largest: float, look: Look
) -> str:
    path = line.input.path
    ends = [input_value(look.study, path, float(line.values[k]), look.units) for k in (0, -1)]
    leads = line.gains[[0, -1], pair[0]] - line.gains[[0, -1], pair[1]]
    turns = " <em>turns the choice</em>" if web.overtaken(line, pair[0]) else ""
    side = " · both ends on one side of today" if web.one_sided(line, *pair) else ""
    return (
        f"<li><span>{escape(input_title(look.study, path))}{turns}</span>"
        f"<b>{escape(look.money(change))}</b>"
        f"<small class='capex-rest'>{escape(ends[0])}: {escape(look.money(float(leads[0])))} · "
        f"{escape(ends[1])}: {escape(look.money(float(leads[1])))}{side}</small>"
        f"<i style='width:{100 * change / largest:.0f}%'></i></li>"
    )
