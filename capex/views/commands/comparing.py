"""The command that puts offers for a machine side by side: offers.

Imports typer and rich; the package late.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.markup import escape

from capex.errors import InputError
from capex.views.commands.console import (
    AsJson,
    Changes,
    StudyPath,
    print_side_by_side,
    print_text,
    study_file,
)

if TYPE_CHECKING:
    from capex.finance.offers import SideBySide
    from capex.views.charts.picture import Look

__all__ = ["offers"]

#: Columns of a terminal for what a row is about, and for an offer.
_WIDTHS = (37, 21)


def offers(
    study: StudyPath,
    machine: Annotated[
        str | None, typer.Option(help="Key of a machine; all that have offers by default.")
    ] = None,
    set_: Changes = None,
    as_json: AsJson = False,
) -> None:
    """Put the offers for a machine side by side, and say which is cheapest and why."""
    from capex.views.bank.cheapest import offers_data
    from capex.views.bank.offers import machines_with_offers, offers_compared
    from capex.views.charts.picture import Look
    from capex.views.wording import CAUTIONS, Currency

    shown = study_file(study, set_).study
    machines = machines_with_offers(shown)
    if machine is not None and machine not in machines:
        known = ", ".join(machines) or "none"
        raise InputError("--machine", machine, f"has no offer in the study; with offers: {known}")
    look = Look(shown, "metric", Currency(shown.currency))
    wanted = list(machines) if machine is None else [machine]
    compared = {key: offers_compared(shown, key) for key in wanted}
    if as_json:
        told = {key: offers_data(found, look) for key, found in compared.items()}
        data = {"shop": shown.shop_name, "currency": shown.currency, "machines": told,
                "caution": CAUTIONS[0]}  # fmt: skip
        print_text(json.dumps(data, indent=2, allow_nan=False))
        return
    console = Console()
    if not machines:
        console.print("The study has no offers; each is written under offers.")
    for key, found in compared.items():
        console.print(escape(f"Offers for {machines[key]}"), style="bold")
        _print(found, look, console)
    console.print(escape(CAUTIONS[0]), style="dim")


def _print(found: SideBySide, look: Look, console: Console) -> None:
    """Print the offers for one machine, and what is said of them."""
    from capex.views.bank.cheapest import offers_words
    from capex.views.bank.offers import offers_table

    columns, rows = offers_table(found, look)
    (_, *titles), *each = zip(columns, *rows, strict=True)
    print_side_by_side(("Offer", *titles), each, console, _WIDTHS)
    for sentence in offers_words(found, look):
        console.print(escape(sentence))
    console.print()
