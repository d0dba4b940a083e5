"""What a lender asks for and finds: cards, the tests one by one, and what would pass them.

May import: numpy, and from capex decision, finance, study, `views.bank`, `views.chart`,
`views.charts.picture` and `views.wording`.
"""

from __future__ import annotations

from html import escape

from capex.decision.lender_limits import drawable, least_cash_after, lendable_share
from capex.decision.stress import LenderFigures, StressTest
from capex.finance.coverage import LowestRatio, RatioReason
from capex.study import Quantity, Study
from capex.views.bank.amounts import money_to_unit
from capex.views.bank.pictures import ratio_text
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look
from capex.views.wording import month_name

__all__ = ["cards_html", "cover_cell", "draws_words", "limit_sentences", "loan_to_value_cell",
           "mark", "origin_sentences", "tests_table"]  # fmt: skip


def mark(met: bool) -> str:
    """Return a tick or a cross, for a test that is met or not."""
    return "✓" if met else "✗"


def cover_cell(found: LenderFigures, case: int) -> str:
    """Return the least yearly cover of a case with its tick or cross."""
    cover = found.view.lowest_year
    if cover.reason[case] != RatioReason.FOUND:
        return "nothing due"
    return f"{mark(found.meets_cover[case])} {cover.ratio[case]:.2f}"


def loan_to_value_cell(found: LenderFigures, case: int) -> str:
    """Return the highest loan to value of a case with its tick or cross."""
    value = found.view.highest_loan_to_value
    if value.reason[case] == RatioReason.NO_LOAN:
        return "nothing owed"
    sign = mark(found.meets_loan_to_value[case])
    if value.reason[case] != RatioReason.FOUND:
        return f"{sign} no machine"
    return f"{sign} {value.ratio[case]:.0%}"


def cards_html(found: StressTest, key: str, look: Look) -> str:
    """Return the four figures that a lender looks at first."""
    figures = found.each[key]
    view = figures.view
    year, month, value = view.lowest_year, view.lowest_month, view.highest_loan_to_value
    facts = [
        ("Least cover of a year", ratio_text(year.ratio[0], year.reason[0]),
         _sign(figures.meets_cover[0]) + _in_year(look, year)),
        ("Least cover of a month", ratio_text(month.ratio[0], month.reason[0]),
         _in_month_of_cover(look, month)),
        ("Highest loan to value",
         f"{value.ratio[0]:.0%}" if value.reason[0] == RatioReason.FOUND else "–",
         _sign(figures.meets_loan_to_value[0])
         + _in_month(look, int(value.when[0]), int(value.reason[0]))),
        ("Least cash at a month's end", look.money(view.lowest_cash[0]),
         _sign(figures.meets_cash[0]) + _least_cash_words(found, key, look)),
    ]  # fmt: skip
    return "".join(
        f"<article class='capex-card'><h3>{escape(term)}</h3><p class='capex-figure'>"
        f"{escape(text)} <small>{escape(more)}</small></p></article>"
        for term, text, more in facts
    )


def draws_words(look: Look) -> str:
    """Return whether anything is left to the owner before cover is counted."""
    draws = look.study.money.lender.owner_draws.likely
    if draws == 0.0:
        return "no owner's draws entered"
    return f"owner's draws of {money_to_unit(draws, look)} a month entered"


def _least_cash_words(found: StressTest, key: str, look: Look) -> str:
    view = found.each[key].view
    when = int(view.lowest_cash_month[0])
    said = _in_month(look, when, int(RatioReason.FOUND))
    if when > 0:
        return said
    later, month = least_cash_after(view)
    return f"{said}; later at least {look.money(later[0])}, in {month_name(look.study, month[0])}"


def _sign(met: bool) -> str:
    return f"{mark(met)} {'met' if met else 'not met'}, "


def _in_year(look: Look, least: LowestRatio) -> str:
    if least.reason[0] != RatioReason.FOUND:
        return RatioReason(int(least.reason[0])).words
    return f"in year {least.when[0]}; {draws_words(look)}"


def _in_month_of_cover(look: Look, least: LowestRatio) -> str:
    month, reason = int(least.when[0]), int(least.reason[0])
    said = _in_month(look, month, reason)
    if reason != RatioReason.FOUND:
        return said
    early = ", before anything is earned" if month == 0 else ""
    return f"{said}{early}; {draws_words(look)}"


def _in_month(look: Look, month: int, reason: int) -> str:
    if reason != RatioReason.FOUND:
        return RatioReason(reason).words
    return f"in {month_name(look.study, month)}" if month > 0 else "on the day of decision"


def tests_table(found: StressTest, key: str, look: Look) -> ChartTable:
    """Return a row a test of the lender: what is asked, what is found, and whose wish it is."""
    asked, figures, last = look.study.money.lender, found.each[key], len(found.cases) - 1
    cash = figures.view.lowest_cash
    ends = (0, last)
    return ChartTable(
        ["Asked for", "Limit", *(found.amounts.words[found.cases[k]] for k in ends), "Source"],
        [
            ["Repayment cover of every year", f"at least {asked.minimum_cover.likely:.2f}",
             *(cover_cell(figures, k) for k in ends), _origin(asked.minimum_cover)],
            ["Loan to value at every month's end",
             f"at most {asked.highest_loan_to_value.likely:.0%}",
             *(loan_to_value_cell(figures, k) for k in ends),
             _origin(asked.highest_loan_to_value)],
            ["Money in the bank at every month's end",
             f"at least {money_to_unit(asked.lowest_cash.likely, look)}",
             *(f"{mark(figures.meets_cash[k])} {look.money(cash[k])}" for k in ends),
             _origin(asked.lowest_cash)],
        ],
    )  # fmt: skip


def _origin(quantity: Quantity) -> str:
    return quantity.source if quantity.on is None else f"{quantity.source}, {quantity.on}"


def origin_sentences(study: Study) -> list[str]:
    """Return what the study says about the limits of the lender."""
    asked = study.money.lender
    named = (("Least cover", asked.minimum_cover),
             ("Highest loan to value", asked.highest_loan_to_value),
             ("Least cash", asked.lowest_cash))  # fmt: skip
    notes = [f"{name}: {each.note}." for name, each in named if each.note]
    where = "These limits are the study's; each lender has its own."
    return [" ".join([*notes, where])]


def limit_sentences(found: StressTest, key: str, look: Look) -> list[str]:
    """Return the own money that would pass loan to value, and what the owner could draw."""
    return [*_own_money(found, key, look), *_draws(found, key, look), _debts(look.study, look)]


def _own_money(found: StressTest, key: str, look: Look) -> list[str]:
    figures, outcome = found.each[key], found.appraisal.outcomes[key]
    if bool(figures.meets_loan_to_value.all()):
        return []
    most = float(look.study.money.lender.highest_loan_to_value.likely)
    share = lendable_share(figures.view, most)
    loan = outcome.path.ledger.line("loan")[0]
    lent, worst = float(loan.sum()), float(share.min())
    if worst == 0.0:
        return ["Loan to value cannot pass: money is owed while no machine bought stands for it."]
    left = float(figures.view.month_end_cash[0, 0] - (1.0 - share[0]) * loan[0])
    wanted = (
        f"Loan to value would pass with {money_to_unit((1.0 - share[0]) * lent, look)} more of own "
        f"money: {money_to_unit(share[0] * lent, look)} lent instead of "
        f"{money_to_unit(lent, look)}, each loan smaller in proportion, at the same rate and "
        f"term. At least {money_to_unit(left, look)} is then left in the bank on the day of "
        "decision."
    )
    said = [wanted] if share[0] < 1.0 else ["Loan to value passes as the study stands."]
    if worst < share[0]:
        said.append(
            "To pass in every case of stress too it takes "
            f"{money_to_unit((1.0 - worst) * lent, look)} more own money than the study has: "
            f"{money_to_unit(worst * lent, look)} lent."
        )
    return [" ".join(said)]


def _draws(found: StressTest, key: str, look: Look) -> list[str]:
    least, view = look.study.money.lender.minimum_cover.likely, found.each[key].view
    entered = look.study.money.lender.owner_draws
    said = (
        f"Owner's draws: none entered ({entered.source}); cover and cash "
        "leave the owner nothing but the wages that the study counts."
        if entered.likely == 0.0
        else f"Owner's draws: {money_to_unit(entered.likely, look)} a month ({entered.source})."
    )
    more = float(drawable(view, least)[0])
    if not view.definition.after_draws or more == float("inf"):
        return [said]
    if more < 0.0:
        return [f"{said} Cover would be {least:.2f} with {money_to_unit(-more, look)} a month "
                "less drawn, or more brought in."]  # fmt: skip
    beyond = "" if entered.likely == 0.0 else " more"
    return [
        f"{said} Cover would still be {least:.2f} with {money_to_unit(more, look)} a month{beyond} "
        "drawn; whether the bank account bears that is another question."
    ]


def _debts(study: Study, look: Look) -> str:
    debts = study.money.lender.existing_debt_service
    if debts.likely == 0.0:
        return f"Debts there are already: none entered ({debts.source})."
    amount = money_to_unit(debts.likely, look)
    return f"Debts there are already: {amount} a month of service ({debts.source})."
