"""The document that stays on the lender's desk.

Imports from capex study and, of this folder, the sections, `content`, `findings`, `typesetting`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from importlib.metadata import version
from typing import Final

from capex.decision.risk.summary import RiskSummary, risk_summary
from capex.errors import InputError
from capex.views.charts.picture import Look
from capex.views.documents.paper import lending_sections as lending
from capex.views.documents.paper import shop_sections as shop
from capex.views.documents.paper.content import Document, Letterhead, Paper, Section
from capex.views.documents.paper.findings import LenderFindings

__all__ = ["SECTIONS", "bank_document"]

Maker = Callable[[LenderFindings, Look, RiskSummary], Section | None]

_MAKERS: Final[dict[str, Maker]] = {
    "request": lambda found, look, _: lending.requested(found, look),
    "shop": lambda found, look, _: shop.shop(found, look),
    "choice": lambda found, look, _: lending.choice(found, look),
    "cash": lambda found, look, _: lending.cash(found, look),
    "loan": lambda found, look, _: lending.loan(found, look),
    "cover": lambda found, look, _: lending.cover(found, look),
    "security": lambda found, look, _: lending.security(found, look),
    "stress": lambda found, look, _: lending.stress(found, look),
    "risk": lending.risk,
    "break_even": lambda found, look, _: lending.break_even(found, look),
    "floor": lambda found, look, _: shop.floor(found, look),
    "service": lambda found, look, _: shop.service(found, look),
    "unknown": lambda found, look, _: shop.unknown(found, look, found.outcome),
    "assumptions": lambda found, look, _: shop.assumptions(found, look),
}
#: The sections that can be left out; summary and cautions are always there.
SECTIONS: Final = tuple(_MAKERS)


def bank_document(
    found: LenderFindings,
    look: Look,
    *,
    made_on: date,
    letterhead: Letterhead | None = None,
    sections: Sequence[str] = SECTIONS,
    paper: Paper = "a4",
    signatures: Sequence[str] = ("For the shop", "For the lender"),
) -> Document:
    """Return the document for a choice: a summary first, then the sections asked for.

    Parameters
    ----------
    found : LenderFindings
    look : Look
        Units and currency.
    made_on : date
        The same findings on the same day give the same document.
    letterhead : Letterhead, optional
        By default the shop's name alone.
    sections : sequence of str
        Of `SECTIONS`; they come in its order.
    paper : {"a4", "us-letter"}
    signatures : sequence of str
        Who signs.

    Raises
    ------
    InputError
        A section or a paper that there is not.
    """
    for key in sections:
        if key not in _MAKERS:
            raise InputError("sections", key, f"must be one of: {', '.join(SECTIONS)}")
    if paper not in ("a4", "us-letter"):
        raise InputError("paper", paper, "must be 'a4' or 'us-letter'")
    said = risk_summary(found.simulation)
    made = [_MAKERS[key](found, look, said) for key in SECTIONS if key in sections]
    return Document(
        title=f"Request for finance: {found.outcome.name}",
        letterhead=letterhead or Letterhead(found.study.shop_name),
        made_on=made_on,
        sections=[
            lending.summary(found, look, said),
            *(section for section in made if section is not None),
            shop.cautions(),
        ],
        foot=f"Worked out with capex {version('capex')} on {made_on:%d %B %Y}. "
        "A planning estimate, not financial, tax or legal advice.",
        paper=paper,
        signatures=tuple(signatures),
    )
