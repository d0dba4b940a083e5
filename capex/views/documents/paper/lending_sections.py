"""The parts of a document that a lender turns to: request, choice, cash, loan, cover, stress.

Imports from capex decision, study and views.
"""

from __future__ import annotations

import numpy as np

from capex.decision.risk.summary import RiskSummary
from capex.decision.verdict import reasons
from capex.views import tables
from capex.views.bank import amortization, lender_words, pictures, request, terms, words
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, joined
from capex.views.cover_tax import cover_tax_sentence
from capex.views.documents.paper.cash_table import STRONG_ROWS, first_year_table, yearly_table
from capex.views.documents.paper.content import Block, Drawing, Grid, Section, Words
from capex.views.documents.paper.drawing import drawn
from capex.views.documents.paper.findings import LenderFindings
from capex.views.explore.pictures import gains_picture
from capex.views.risk import chance_text, choice_table, risk_sentences
from capex.views.tax import tax_sentence
from capex.views.wording import reason_sentence, verdict_words

__all__ = [
    "break_even", "cash", "choice", "cover", "loan", "requested", "risk", "security", "stress",
    "summary",
]  # fmt: skip


def _drawing(name: str, picture: Picture, height: float = 2.5) -> Drawing:
    figure = picture.figure
    return Drawing(
        name,
        drawn(figure, height=height).decode(),
        picture.reading,
        png=lambda: drawn(figure, height=height, form="png"),
    )


def summary(found: LenderFindings, look: Look, said: RiskSummary) -> Section:
    """Return the first page: what is asked for, why, and whether it is covered."""
    outcome = found.outcome
    one = {each.key: each for each in said.choices}[found.choice]
    short = (
        "Nothing is borrowed, so that there is no cover to fall short of."
        if one.cover_falls_short is None
        else "Chance that cover falls below the lender's minimum in some year, by "
        f"{said.simulation.draws.count:,} draws of the uncertain inputs: "
        f"{chance_text(one.cover_falls_short)}."
    )
    asked = request.request_table(outcome, look)
    cases = joined([
        f"{name[:1].lower()}{name[1:]}" for case, name in found.stress.amounts.words.items()
        if case not in ("as_entered", "combined")
    ])  # fmt: skip
    return Section("summary", "Summary", [
        Words([words.choice_sentence(found.stress, found.verdict, found.choice, look)], "lead"),
        Words(_why(found, look)),
        Grid("What the money is for, and who pays it", asked, strong=_sums(asked)),
        Words(terms.terms_sentences(look, found.choice)),
        Grid("What a lender asks for",
             lender_words.tests_table(found.stress, found.choice, look), words=2),
        Words([f"All together means at once: {cases}. {short}"]),
        _drawing("Money in the bank",
                 pictures.cash_picture(found.stress, found.choice, look), 1.9),
    ])  # fmt: skip


def _why(found: LenderFindings, look: Look) -> list[str]:
    """Return what speaks for and against the choice, beside the best or its runner-up."""
    appraisal, best = found.stress.appraisal, found.verdict.best
    if found.choice == best:
        return [verdict_words(appraisal, found.verdict, look.currency)[1]]
    own, first = found.outcome, appraisal.outcomes[best]
    said = reason_sentence(reasons(own, first), look.currency)
    lines = [f"For {own.name} against {first.name}: {said}."]
    if own is not appraisal.baseline and first is not appraisal.baseline:
        said = reason_sentence(reasons(own, appraisal.baseline), look.currency)
        lines.append(f"Against “{appraisal.baseline.name}”: {said}.")
    return [" ".join(lines)]


def _sums(asked: ChartTable) -> tuple[int, ...]:
    return tuple(k for k, row in enumerate(asked.rows)
                 if row[0] in ("To be paid for", "Of it own money"))  # fmt: skip


def requested(found: LenderFindings, look: Look) -> Section:
    """Return the request in words: terms, what falls due later, what is left out."""
    notes = request.request_notes(found.outcome, found.stress.appraisal.baseline, look)
    return Section("request", "The request", [
        Words([*terms.terms_sentences(look, found.choice), *notes]),
        Words(lender_words.limit_sentences(found.stress, found.choice, look)),
    ], new_page=True)  # fmt: skip


def choice(found: LenderFindings, look: Look) -> Section:
    """Return the choice beside its rivals, with the reasons."""
    appraisal = found.stress.appraisal
    heads, rows = tables.headline_table(appraisal, look.units, look.currency)
    table = ChartTable([_following(head) for head in heads], rows)
    return Section("choice", "The choice and its rivals", [
        Words(list(verdict_words(appraisal, found.verdict, look.currency))),
        Grid("All choices, as the study stands", table, small=True),
        Words([tables.convention_text(appraisal)], "note"),
    ])  # fmt: skip


def _following(head: str) -> str:
    """Return a heading without its indent; one that goes on from the heading before says so."""
    return f"… {head.strip()}" if head.startswith("  ") else head.strip()


def cash(found: LenderFindings, look: Look) -> Section:
    """Return the plan of cash by month and by year, and the bank account."""
    outcome = found.outcome
    years = yearly_table(outcome, look)
    return Section("cash", "Cash", [
        Grid("First year by month", first_year_table(outcome, look), small=True,
             strong=STRONG_ROWS),
        Grid("By project year", years, small=True, strong=STRONG_ROWS,
             shares=(2.0, *[1.0] * (len(years.columns) - 1))),
        Words([tax_sentence(found.study, None)], "note"),
    ])  # fmt: skip


def loan(found: LenderFindings, look: Look) -> Section:
    """Return the loan by year and by month."""
    outcome = found.outcome
    by_year = words.repayment_table(outcome, look)
    repaid = amortization.of_choice(outcome)
    if by_year is None or repaid is None:
        return Section("loan", "The loan", [Words([words.nothing_borrowed(outcome)])])
    picture = amortization.amortization_picture(repaid, look)
    return Section("loan", "The loan", [
        Grid("By project year", by_year),
        _drawing("Interest, principal and what is owed", picture, 3.2),
        Grid("By month", picture.table, small=True, shares=(1.0,) * len(picture.table.columns)),
    ])  # fmt: skip


def cover(found: LenderFindings, look: Look) -> Section:
    """Return repayment cover by year, its least year and month, and how it is counted."""
    view = found.stress.each[found.choice].view
    picture = pictures.cover_picture(found.stress, look)
    least = [
        f"{name}: {pictures.ratio_text(low.ratio[0], int(low.reason[0]))} in {unit} {low.when[0]}"
        for name, low, unit in (("Least year", view.lowest_year, "year"),
                                ("Least month", view.lowest_month, "month"))
        if low.reason[0] == 0
    ]  # fmt: skip
    blocks: list[Block] = [
        _drawing("Does the cash cover the repayments?", picture),
        Grid("Cover by year", picture.table),
    ]
    if least:
        blocks.append(Words([". ".join(least) + "."]))
    moved = cover_tax_sentence(view, look.currency)
    if moved:
        blocks.append(Words([moved]))
    blocks.append(Words([view.definition.words, *lender_words.origin_sentences(found.study)],
                        "note"))  # fmt: skip
    return Section("cover", "Repayment cover", blocks)


def security(found: LenderFindings, look: Look) -> Section:
    """Return what is owed against what the machines would fetch."""
    picture = pictures.owed_picture(found.stress, found.choice, look)
    if picture is None:
        said = ["Nothing is owed for this choice, so there is no loan to value."]
        return Section("security", "Loan to value", [Words(said)])
    return Section("security", "Loan to value", [
        _drawing("Owed, and what the machines would fetch", picture),
        Grid("By year", picture.table),
    ])  # fmt: skip


def stress(found: LenderFindings, look: Look) -> Section:
    """Return the stress cases."""
    return Section("stress", "If things go worse", [
        Grid("Each case alone, then all together; ✓ meets what is asked for, ✗ does not",
             words.stress_table(found.stress, found.choice, look)),
    ])  # fmt: skip


def break_even(found: LenderFindings, look: Look) -> Section:
    """Return the volumes at which cover reaches 1 and the lender's minimum."""
    said = words.volume_sentences(found.volumes, found.choice, found.study)
    return Section("break_even", "The volume that covers", [Words(said)])


def risk(found: LenderFindings, look: Look, said: RiskSummary) -> Section:
    """Return how likely each choice is to be best and to fall short."""
    heads, rows = choice_table(said, look.currency)
    turned = [[_following(head), *(row[k] for row in rows)] for k, head in enumerate(heads)]
    table = ChartTable(turned[0], turned[1:])
    blocks: list[Block] = [Words(risk_sentences(said, look.currency))]
    if np.ptp(said.simulation.gains) > 0.0:
        blocks.append(_drawing("What each choice may leave over the baseline",
                               gains_picture(said, look), 2.7))  # fmt: skip
    blocks.append(Grid("Chances and ranges", table))
    return Section("risk", "How sure is that?", blocks)
