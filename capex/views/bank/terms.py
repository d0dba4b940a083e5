"""How each machine of a choice is paid for, in words, and the offers that it could be paid by.

May import: from capex finance, study, units, `views.bank`, `views.charts.picture`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from capex.finance.lender import loan_rate
from capex.study import Alternative, LeaseOffer, LoanOffer, Offer, Quantity, Study, StudyFile
from capex.units import quantity_text
from capex.views.bank.amounts import money_to_unit
from capex.views.charts.picture import Look, joined

__all__ = ["AS_STATED", "paid_by", "payable", "terms_sentences", "trade_sentences"]

#: Of a machine whose financing is left as the study says.
AS_STATED: Final = "as the study says"
_ENDS: Final = {
    "ownership": "the machine is the shop's own at the end",
    "purchase": "bought at the end for {residual}", "return": "the machine goes back at the end",
}  # fmt: skip


def _bought(choice: Alternative) -> list[int]:
    return [k for k, each in enumerate(choice.machines) if not each.owned]


def payable(study: Study, key: str) -> dict[int, tuple[str, list[tuple[str, str]]]]:
    """Return the machines of a choice that there are offers for: place, name, offers by key."""
    found = {}
    for place in _bought(study.alternatives[key]):
        placement = study.alternatives[key].machines[place]
        start = study.money.start
        offers = [
            (name, f"{offer.name} (has ended)" if offer.expired_on(start) else offer.name)
            for name, offer in study.offers.items()
            if offer.machine == placement.machine
        ]
        if offers:
            stated = "As the study says" if placement.offer is None else "The study's own offer"
            options = [(AS_STATED, stated), *offers]
            found[place] = (study.machines[placement.machine].name, options)
    return found


def paid_by(file: StudyFile, chosen: Mapping[tuple[str, int], str]) -> StudyFile:
    """Return the study with machines of its choices paid for by offers.

    An old machine that an offer takes in trade is no longer sold beside it.

    Parameters
    ----------
    file : StudyFile
    chosen : mapping of (choice, place) to the key of an offer
        Those that stay as the study says may be left out.

    Raises
    ------
    StudyError
        An offer that the choice does not allow.
    """
    changes: dict[str, object] = {}
    for (key, place), name in chosen.items():
        if name == AS_STATED:
            continue
        changes[f"alternatives.{key}.machines.{place}.offer"] = name
        for k in _traded(file.study, key, file.study.offers[name]):
            changes[f"alternatives.{key}.machines.{k}.sale_proceeds"] = 0
    return file.changed(changes) if changes else file


def _traded(study: Study, key: str, offer: Offer) -> list[int]:
    return [
        k
        for k, each in enumerate(study.alternatives[key].machines)
        if each.owned and each.sold_in_month is not None and each.machine == offer.trade_in_of
    ]


def trade_sentences(look: Look, stated: Study, chosen: Mapping[tuple[str, int], str], key: str
                    ) -> list[str]:  # fmt: skip
    """Return which sales of old machines fall away, as offers chosen for a choice take them in.

    Parameters
    ----------
    look : Look
    stated : Study
        As the study says.
    chosen : mapping of (choice, place) to the key of an offer
    key : str
        Of the choice.
    """
    said = []
    for (choice, _), offer in chosen.items():
        if choice != key or offer == AS_STATED:
            continue
        for place in _traded(stated, key, stated.offers[offer]):
            old = stated.alternatives[key].machines[place]
            sale = old.sale_proceeds
            amount = "" if sale is None else f" for {money_to_unit(sale.likely, look)}"
            name = stated.machines[old.machine].name
            said.append(f"The trade-in takes the place of selling {name}{amount}.")
    return said


def terms_sentences(look: Look, key: str) -> list[str]:
    """Return how the machines that a choice buys are paid for, those of one way together."""
    study = look.study
    choice = study.alternatives[key]
    ways: dict[str | None, list[str]] = {}
    for place in _bought(choice):
        placement = choice.machines[place]
        name = study.machines[placement.machine].name
        ways.setdefault(placement.offer, []).append(name)
    if not ways:
        return ["Nothing is bought for this choice."]
    return [f"{joined(names)}: {_way(look, offer)}." for offer, names in ways.items()]


def _way(look: Look, key: str | None) -> str:
    study = look.study
    if key is not None:
        offer = study.offers[key]
        until = "" if offer.valid_until is None else f", valid until {offer.valid_until}"
        return f"“{offer.name}”, an offer of {offer.dated}{until}: {_offer(look, offer)}"
    loan = study.money.loan
    if loan is None:
        return "own money, as the study has no loan and no offer is chosen"
    rate = float(loan_rate(study, loan.annual_rate.si)[0])
    fee = "no fee" if loan.fee.likely == 0 else f"a fee of {_share(loan.fee)} of it"
    return (
        f"the study's own loan ({loan.annual_rate.source}), no offer chosen: "
        f"{_share(loan.share)} of the price at {rate:.2%} a year nominal, {_months(loan.term)} "
        f"level payments at month ends, {fee}"
    )


def _offer(look: Look, offer: Offer) -> str:
    said = []
    if offer.price is not None:
        said.append(f"price {money_to_unit(offer.price.likely, look)}")
    if offer.trade_in is not None:
        said.append(f"{money_to_unit(offer.trade_in.likely, look)} credited for the old machine")
    if offer.loan is not None:
        said += _loan(look, offer.loan)
    elif offer.lease is not None:
        said += _lease(look, offer.lease)
    else:
        said.append("paid in own money")
    return ", ".join(said)


def _loan(look: Look, loan: LoanOffer) -> list[str]:
    said = []
    if loan.annual_rate is not None:
        rate = float(loan_rate(look.study, loan.annual_rate.si)[0])
        said.append(f"{rate:.2%} a year nominal")
    elif loan.flat_rate is not None:
        said.append(f"a flat {_share(loan.flat_rate)} a year on the amount first borrowed")
    when = "in advance" if loan.timing == "advance" else "at month ends"
    said.append(f"{_months(loan.term)} payments {when}")
    if loan.equity is not None:
        said.append(f"{money_to_unit(loan.equity.likely, look)} of own money")
    if loan.equity_share is not None:
        said.append(f"{_share(loan.equity_share)} own money")
    if loan.interest_only_months.likely > 0:
        said.append(f"the first {loan.interest_only_months.likely:g} of interest alone")
    if loan.balloon.likely > 0:
        said.append(f"a balloon of {money_to_unit(loan.balloon.likely, look)} with the last")
    return [*said, _fee(look, loan.fee, loan.fee_share, "what is borrowed")]


def _lease(look: Look, lease: LeaseOffer) -> list[str]:
    said = []
    if lease.rent is not None:
        said.append(f"{_months(lease.term)} rents of {money_to_unit(lease.rent.likely, look)}")
    elif lease.rate_factor is not None:
        said.append(f"{_months(lease.term)} rents of {_share(lease.rate_factor)} of the price")
    if lease.rentals_in_advance.likely > 0:
        said.append(f"{lease.rentals_in_advance.likely:g} of them on the first day")
    if lease.deposit.likely > 0:
        deposit = money_to_unit(lease.deposit.likely, look)
        said.append(f"a deposit of {deposit} that comes back")
    said.append("service included" if lease.maintenance_included else "service not included")
    residual = "" if lease.residual is None else money_to_unit(lease.residual.likely, look)
    said.append(_ENDS[lease.at_end].format(residual=residual))
    return [*said, _fee(look, lease.fee, lease.fee_share, "the price")]


def _fee(look: Look, fee: Quantity | None, share: Quantity | None, of: str) -> str:
    if fee is not None:
        return f"a fee of {money_to_unit(fee.likely, look)}"
    return "no fee" if share is None else f"a fee of {_share(share)} of {of}"


def _share(quantity: Quantity) -> str:
    return quantity_text(quantity.likely, "fraction")


def _months(term: Quantity) -> str:
    return f"{term.likely:g} monthly"
