"""What draws say of the decision, in sentences, tables of texts and plain data.

Widget-free. May import: numpy, and from capex units, study, decision and `views.wording`.
"""

from __future__ import annotations

import math
from typing import Any, Final

from capex.decision.risk.chances import Estimate
from capex.decision.risk.information import InputInformation
from capex.decision.risk.spider import InputLine
from capex.decision.risk.summary import ChoiceRisk, RiskSummary
from capex.study import Study
from capex.units import UnitSystem, quantity_text
from capex.views import wording
from capex.views.wording import Currency, input_name, money_text

__all__ = [
    "KNOWING_HEADINGS",
    "SWING_HEADINGS",
    "Swings",
    "chance_text",
    "choice_table",
    "knowing_rows",
    "knowing_sentences",
    "known_share_text",
    "risk_data",
    "risk_sentences",
    "share_text",
    "swing_rows",
]

Rows = list[tuple[str, ...]]
#: Inputs with the change that they bring, the largest first, and whether both ends lie on one side.
Swings = list[tuple[InputLine, float, bool]]

SWING_HEADINGS: Final = ("Input", "P10 to P90", "Change")
KNOWING_HEADINGS: Final = ("Input", "Share", "Worth knowing")


def risk_sentences(said: RiskSummary, currency: Currency) -> list[str]:
    """Return how many draws were made, which choice leads, and what more knowledge is worth."""
    found = said.simulation
    first, *others = said.ranking
    sentences = [
        f"{found.draws.count:,} draws of {len(found.draws.inputs)} uncertain inputs, seed "
        f"{found.draws.seed}. ± is the error of the simulation alone, at 95 % confidence."
    ]
    if not others:
        return [*sentences, f"{first.name} is the only choice in this study."]
    second = others[0]
    if any({first.key, second.key} == set(pair) for pair in said.alike):
        sentences.append(f"{first.name} and {second.name} leave the same at every chance, most of "
                         "all on average.")  # fmt: skip
    else:
        lead = money_text(first.mean.value - second.mean.value, currency)
        sentences.append(f"{first.name} leaves most money on average, {lead} more than "
                         f"{second.name}.")  # fmt: skip
    sentences.append(f"Chance that {first.name} leaves most: {chance_text(first.best)}.")
    return [*sentences, *knowing_sentences(said, currency), *_dominance_sentences(said)]


def knowing_sentences(said: RiskSummary, currency: Currency) -> list[str]:
    """Return what knowing every input is worth, and the bound of one where none was found."""
    worth = said.knowing_everything
    if worth.value == 0.0:
        return [f"In none of the draws another choice leaves more than {said.ranking[0].name}: "
                "nothing that could be found out would change it."]  # fmt: skip
    sentences = [
        f"To know every uncertain input before signing would be worth {_money(worth, currency)} "
        "(expected value of perfect information): no inquiry is worth more."
    ]
    if all(known.worth.value == 0.0 for known in said.knowing):
        most = max(known.worth.error for known in said.knowing)
        sentences.append("Knowing one input alone was not found to change the choice; it is worth "
                         f"at most {money_text(most, currency, 2)}.")  # fmt: skip
    return sentences


def _dominance_sentences(said: RiskSummary) -> list[str]:
    names = {choice.key: choice.name for choice in said.choices}
    words = {
        1: "At every chance {one} leaves at least as much as {other} (first-order dominance).",
        2: "Whoever shuns risk prefers {one} to {other} (second-order dominance).",
    }
    return [
        words[pair.order].format(one=names[pair.one], other=names[pair.other])
        for pair in said.dominances
    ]


def choice_table(said: RiskSummary, currency: Currency) -> tuple[tuple[str, ...], Rows]:
    """Return headings and a row an alternative."""
    asked = said.cover_asked
    cover = "Cover below " + ("what is asked (uncertain)" if asked is None else f"{asked:.3g}")
    headings = (
        "Alternative", "Leaves most", "Below baseline", "NPV gain P5", "  P50", "  P95", "  mean",
        "Mean regret", cover, "Payback P5", "  P50", "  P95", "Not paid back", "Worst cash P5",
    )  # fmt: skip
    horizon = int(said.simulation.study.money.horizon.likely)
    return headings, [_choice_row(choice, currency, horizon) for choice in said.choices]


def _choice_row(choice: ChoiceRisk, currency: Currency, horizon: int) -> tuple[str, ...]:
    short, unpaid = choice.cover_falls_short, choice.not_paid_back
    payback = (
        ("–",) * 4
        if unpaid is None
        else (
            *(wording.payback_text(years, horizon) for years in choice.payback),
            chance_text(unpaid),
        )
    )
    gain = (
        ("baseline", *("–",) * 4)
        if choice.baseline
        else (
            chance_text(choice.loses),
            *(money_text(value, currency) for value in choice.gain),
            _money(choice.mean, currency),
        )
    )
    return (
        choice.name,
        chance_text(choice.best),
        *gain,
        _money(choice.regret, currency),
        "no debt" if short is None else chance_text(short),
        *payback,
        money_text(choice.worst_cash[0], currency),
    )


def swing_rows(
    study: Study, swings: Swings, currency: Currency, system: UnitSystem = "metric"
) -> Rows:
    """Return a row an input: its 10th and 90th percentile, and what the lead changes by."""
    rows: Rows = []
    for line, change, one_sided in swings:
        kind = line.input.quantity.entry.kind
        low, high = (
            quantity_text(float(value), kind, system, study.currency, 3)
            for value in line.values[[0, -1]]
        )
        side = "; both ends on one side" if one_sided else ""
        rows.append(
            (
                f"{input_name(study, line.input.path)}\n{line.input.path}",
                f"{low} to {high}{side}",
                money_text(change, currency),
            )
        )
    return rows


def knowing_rows(said: RiskSummary, currency: Currency, most: int) -> Rows:
    """Return a row an input: what knowing it alone is worth, most first."""
    study = said.simulation.study
    return [
        (
            f"{input_name(study, known.path)}\n{known.path}",
            known_share_text(known),
            _money(known.worth, currency),
        )
        for known in said.knowing[:most]
        if known.worth.value > 0.0
    ]


def chance_text(found: Estimate) -> str:
    """Return a chance with its simulation error, or its bound where all draws agree.

    Examples
    --------
    >>> chance_text(Estimate(0.734, 0.021)), chance_text(Estimate(0.0, 0.0007))
    ('73% ± 2 points', '0%, at most 0.1%')
    >>> chance_text(Estimate(1.0, 0.006)), chance_text(Estimate(0.0512, 0.0031))
    ('100%, at least 99.4%', '5.1% ± 0.4 points')
    """
    if found.value == 0.0:
        return f"0%, at most {_tenths(found.error):.1f}%"
    if found.value == 1.0:
        return f"100%, at least {100.0 - _tenths(found.error):.1f}%"
    return share_text(found)


def share_text(found: Estimate) -> str:
    """Return a share in per cent with its simulation error in points.

    Examples
    --------
    >>> share_text(Estimate(0.12, 0.03)), share_text(Estimate(1.284, 0.0))
    ('12% ± 3 points', '128.4% ± 0.1 points')
    >>> share_text(Estimate(0.0002, 0.0012))
    '0.02% ± 0.2 points'
    """
    if found.error >= 0.01:
        return f"{found.value:.0%} ± {100.0 * found.error:.0f} points"
    fine = 2 if 0.0 < abs(found.value) < 0.0005 or 0.9995 < found.value < 1.0 else 1
    return f"{found.value:.{fine}%} ± {_tenths(found.error):.1f} points"


def _tenths(error: float) -> float:
    """Return an error in per cent, rounded up to a tenth and never nothing."""
    return max(0.1, math.ceil(error * 1000.0 - 1e-9) / 10.0)


def known_share_text(known: InputInformation) -> str:
    """Return which share of the worth of knowing everything knowing one input is, or its bound.

    Examples
    --------
    >>> nothing = Estimate(0.0, 12.0)
    >>> known_share_text(InputInformation("wage", nothing, 0.0, 0.018))
    'at most 2%'
    """
    if known.worth.value == 0.0:
        return f"at most {math.ceil(100.0 * known.share_error - 1e-9)}%"
    return share_text(Estimate(known.share, known.share_error))


def _money(found: Estimate, currency: Currency) -> str:
    return f"{money_text(found.value, currency)} ± {money_text(found.error, currency, 2)}"


def risk_data(said: RiskSummary, swings: Swings, pair: tuple[str, str] | None) -> dict[str, Any]:
    """Return all of it as plain data, unrounded, None with a reason where there is no figure.

    Parameters
    ----------
    said : RiskSummary
    swings : list
        Of the lead of one alternative over another.
    pair : tuple of two str, or None
        Their keys.
    """
    found = said.simulation
    study = found.study
    return {
        "shop": study.shop_name,
        "currency": study.currency,
        "draws": found.draws.count,
        "seed": found.draws.seed,
        "uncertain_inputs": [one.path for one in found.draws.inputs],
        "confidence_of_errors": 0.95,
        "cover_asked": said.cover_asked,
        "cover_asked_reason": "uncertain: another in every draw" if said.cover_asked is None
        else None,
        "ranking_by_mean_gain": [choice.key for choice in said.ranking],
        "alternatives": {choice.key: _choice_data(choice) for choice in said.choices},
        "dominance": [
            {"one": each.one, "over": each.other, "order": each.order} for each in said.dominances
        ],
        "expected_value_of_perfect_information": _estimate(said.knowing_everything),
        "worth_of_knowing": [
            {"input": known.path, **_estimate(known.worth), "share": known.share,
             "share_error": known.share_error}
            for known in said.knowing
        ],
        "swings_of_the_lead": None if pair is None else {
            "of": pair[0],
            "over": pair[1],
            "inputs": [
                {"input": line.input.path, "unit": line.input.quantity.entry.kind,
                 "p10": float(line.values[0]), "p90": float(line.values[-1]),
                 "change": change, "both_ends_on_one_side": one_sided}
                for line, change, one_sided in swings
            ],
        },
        "caution": wording.CAUTIONS[0],
    }  # fmt: skip


def _choice_data(choice: ChoiceRisk) -> dict[str, Any]:
    short, unpaid = choice.cover_falls_short, choice.not_paid_back
    baseline = choice.baseline
    paid = {
        name: years if math.isfinite(years) and not baseline else None
        for name, years in zip(("p5", "p50", "p95"), choice.payback, strict=True)
    }
    late = "not within the horizon" if None in paid.values() else None
    return {
        "name": choice.name,
        "baseline": baseline,
        "chance_to_leave_most": _estimate(choice.best),
        "chance_below_baseline": _estimate(choice.loses),
        "gain_over_baseline": {**_percentiles(choice.gain), "mean": _estimate(choice.mean)},
        "regret": _estimate(choice.regret),
        "chance_cover_falls_short": None if short is None else _estimate(short),
        "chance_cover_falls_short_reason": "nothing is due to a lender" if short is None else None,
        "chance_cash_falls_short": _estimate(choice.cash_falls_short),
        "payback_years": paid,
        "payback_reason": "it is the baseline" if baseline else late,
        "chance_not_paid_back": None if unpaid is None else _estimate(unpaid),
        "worst_month_end_cash": _percentiles(choice.worst_cash),
    }


def _percentiles(three: tuple[float, float, float]) -> dict[str, float]:
    return dict(zip(("p5", "p50", "p95"), three, strict=True))


def _estimate(found: Estimate) -> dict[str, float]:
    return {"value": found.value, "error": found.error}
