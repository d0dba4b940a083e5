"""What the draws say of every choice: tables of texts, and which is better whatever the risk.

All figures are those of one summary. May import: numpy, and from capex decision, `views.chart`,
`views.charts.picture` and `views.risk`.
"""

from __future__ import annotations

from capex.decision.risk import chances
from capex.decision.risk.summary import RiskSummary
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, joined
from capex.views.risk import chance_text

__all__ = ["cover_table", "dominance_sentence", "regret_table", "sureness_table", "twin_words"]


def sureness_table(said: RiskSummary, look: Look) -> ChartTable:
    """Return a row a choice: percentiles of its gain, chance of leaving most, chance of a loss.

    A choice that equals another in every draw says so beside its name: it shares their draws.
    """
    names = [choice.name for choice in said.choices]
    equals = chances.twins(said.simulation.gains)
    beside = {one: twin_words([names[k] for k in others]) for one, others in equals.items()}
    rows = [
        [
            choice.name + (f" ({beside[place]})" if place in beside else ""),
            chance_text(choice.best),
            "baseline" if choice.baseline else chance_text(choice.loses),
            *(look.money(value) for value in choice.gain),
            "–" if choice.baseline
            else f"{look.money(choice.mean.value)} ± {look.money(choice.mean.error)}",
        ]
        for place, choice in enumerate(said.choices)
    ]  # fmt: skip
    return ChartTable(
        ["Choice", "Chance of leaving most", "Chance of a loss", "Gain, P5", "P50", "P95", "Mean"],
        rows,
    )


def twin_words(names: list[str]) -> str:
    """Return that a choice comes to the same as others.

    Examples
    --------
    >>> twin_words(["All-in-one"])
    'as good as “All-in-one” in every draw, and shares its chance'
    """
    quoted, whose = joined([f"“{name}”" for name in names]), "its" if len(names) == 1 else "their"
    return f"as good as {quoted} in every draw, and shares {whose} chance"


def regret_table(said: RiskSummary, look: Look) -> ChartTable:
    """Return a row a choice: what it leaves less than the best of each draw."""
    high = chances.percentiles(chances.regret(said.simulation.gains), (0.95,))[0]
    rows = []
    for choice, end in zip(said.choices, high, strict=True):
        error = f" ± {look.money(choice.regret.error)}" if choice.regret.error else ""
        rows.append([choice.name, f"{look.money(choice.regret.value)}{error}", look.money(end)])
    return ChartTable(["Choice", "Regret, mean", "Regret, one draw in 20 is above"], rows)


def dominance_sentence(said: RiskSummary) -> str:
    """Return which choice is better whatever one thinks of risk, if one is."""
    best, *others = said.ranking
    orders = {pair.other: pair.order for pair in said.dominances if pair.one == best.key}
    twins = {key for pair in said.alike if best.key in pair for key in pair}
    kinds: dict[int, list[str]] = {0: [], 1: [], 2: []}
    for other in others:
        if other.key not in twins:
            kinds[orders.get(other.key, 0)].append(other.name)
    alike = [other.name for other in others if other.key in twins]
    words = [f"{best.name} leaves most on average."] if others else []
    if alike:
        words.append(f"{joined(alike)} leaves the same at every chance: between them these draws "
                     "decide nothing.")  # fmt: skip
    if kinds[1]:
        words.append(f"At every level it is at least as likely to leave that much as "
                     f"{joined(kinds[1])} (first-order dominance).")  # fmt: skip
    if kinds[2]:
        words.append(f"Whoever shuns risk prefers it to {joined(kinds[2])} too (second-order "
                     "dominance).")  # fmt: skip
    if kinds[0]:
        words.append(f"It does not dominate {joined(kinds[0])}: which is better there depends on "
                     "how much risk you bear.")  # fmt: skip
    return " ".join(words)


def cover_table(said: RiskSummary, look: Look) -> ChartTable:
    """Return a row a choice: cover below the lender's minimum, least cash, payback."""
    rows = [
        [
            choice.name,
            "nothing due" if choice.cover_falls_short is None
            else chance_text(choice.cover_falls_short),
            look.money(choice.worst_cash[0]), look.money(choice.worst_cash[1]),
            chance_text(choice.cash_falls_short),
            "baseline" if choice.not_paid_back is None else chance_text(choice.not_paid_back),
        ]
        for choice in said.choices
    ]  # fmt: skip
    cover, cash = said.cover_asked, said.cash_asked
    uncertain = "what the lender asks for (uncertain)"
    return ChartTable(
        ["Choice", f"Chance of cover below {uncertain if cover is None else f'{cover:.2f}'}",
         "Worst month's cash, P5", "P50",
         f"Chance of cash below {uncertain if cash is None else look.money(cash)}",
         "Chance of no payback"], rows,
    )  # fmt: skip
