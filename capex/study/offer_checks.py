"""Rules of offers: what each must say, and what an alternative may choose.

Imports numpy, `capex.errors`, `capex.units` and the other files of `capex.study`.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from capex.errors import Problem
from capex.study.bounds import Bound, placements
from capex.units import quantity_text

if TYPE_CHECKING:
    from capex.study.alternatives import Alternative, Placement
    from capex.study.offers import LeaseOffer, Offer
    from capex.study.study import Study

__all__ = ["OFFER_RULES"]


def _known(names: Any) -> str:
    return ", ".join(sorted(names)) or "none"


def _price(study: Study, offer: Offer) -> float | None:
    """Return the price of one machine, None where the machine is unknown."""
    if offer.price is not None:
        return offer.price.likely
    machine = study.machines.get(offer.machine)
    return None if machine is None else machine.price.likely


def _price_words(study: Study, offer: Offer) -> str:
    """Return which price an offer counts with."""
    if offer.price is not None:
        return "the price that the offer states"
    return f"the price of {getattr(study.machines.get(offer.machine), 'name', offer.machine)}"


def _money(study: Study, amount: float) -> str:
    return quantity_text(amount, "money", currency=study.currency)


# What an offer says


def check_offer_machine(study: Study, key: str, offer: Offer) -> Iterator[Problem]:
    """Yield machines that the study does not describe."""
    for name in ("machine", "trade_in_of"):
        machine = getattr(offer, name)
        if machine is not None and machine not in study.machines:
            bound = f"is not a known machine; known: {_known(study.machines)}"
            yield Problem(f"offers.{key}.{name}", machine, bound)


def check_offer_kind(study: Study, key: str, offer: Offer) -> Iterator[Problem]:
    """Yield an offer of a loan and a lease at once."""
    if offer.loan is not None and offer.lease is not None:
        bound = "must be left out, as the offer has a loan; state two offers"
        yield Problem(f"offers.{key}.lease", None, bound)


def check_offer_dates(study: Study, key: str, offer: Offer) -> Iterator[Problem]:
    """Yield an offer that was dated when it no longer held."""
    if offer.valid_until is not None and offer.valid_until < offer.dated:
        bound = f"must not be before the date of the offer ({offer.dated})"
        yield Problem(f"offers.{key}.valid_until", str(offer.valid_until), bound)


def check_offer_trade_in(study: Study, key: str, offer: Offer) -> Iterator[Problem]:
    """Yield a trade-in of no machine, or a machine traded in for nothing said."""
    path = f"offers.{key}"
    if offer.trade_in is not None and offer.trade_in_of is None:
        bound = "is missing, as there is a trade_in: the machine that is given for it"
        yield Problem(f"{path}.trade_in_of", None, bound)
    if offer.trade_in is None and offer.trade_in_of is not None:
        bound = "is missing, as there is a trade_in_of: the amount credited for it"
        yield Problem(f"{path}.trade_in", None, bound)


def _said_twice(path: str, part: object, names: tuple[str, str]) -> Iterator[Problem]:
    one, other = names
    if getattr(part, one) is not None and getattr(part, other) is not None:
        yield Problem(f"{path}.{other}", None, f"must be left out where {one} is given")


def _exactly_one(path: str, part: object, names: tuple[str, str]) -> Iterator[Problem]:
    yield from _said_twice(path, part, names)
    if getattr(part, names[0]) is None and getattr(part, names[1]) is None:
        yield Problem(f"{path}.{names[0]}", None, f"is missing; or give {names[1]}")


def check_loan_rate(study: Study, key: str, offer: Offer) -> Iterator[Problem]:
    """Yield a loan whose rate, equity or fee is said twice or not at all."""
    if offer.loan is not None:
        path = f"offers.{key}.loan"
        yield from _exactly_one(path, offer.loan, ("annual_rate", "flat_rate"))
        yield from _said_twice(path, offer.loan, ("equity", "equity_share"))
        yield from _said_twice(path, offer.loan, ("fee", "fee_share"))


def check_loan_payments(study: Study, key: str, offer: Offer) -> Iterator[Problem]:
    """Yield months of interest alone, or a balloon, that the loan's other terms rule out."""
    loan = offer.loan
    if loan is None:
        return
    path = f"offers.{key}.loan"
    months, balloon = loan.interest_only_months.likely, loan.balloon.likely
    if months > 0 and loan.timing == "advance":
        bound = "must be 0 where payments are in advance"
        yield Problem(f"{path}.interest_only_months", int(months), bound)
    if loan.flat_rate is not None and (months > 0 or balloon > 0):
        shown = quantity_text(loan.flat_rate.likely, "fraction")
        bound = (
            "is of level payments alone: ask for the annual rate of a loan with a balloon or "
            "months of interest only"
        )
        yield Problem(f"{path}.flat_rate", shown, bound)
    if loan.flat_rate is not None and loan.timing == "advance" and loan.term.likely < 2:
        yield Problem(f"{path}.term", 1, "must be 2 months or more where payments are in advance")


def check_loan_amount(study: Study, key: str, offer: Offer) -> Iterator[Problem]:
    """Yield equity above the price, or a balloon above what is borrowed."""
    loan, price = offer.loan, _price(study, offer)
    if loan is None or price is None:
        return
    path, paid = f"offers.{key}.loan", 0.0
    if loan.equity is not None:
        paid = loan.equity.likely
        if paid > price:
            bound = f"must be at most {_money(study, price)}, {_price_words(study, offer)}"
            yield Problem(f"{path}.equity", _money(study, paid), bound)
            return
    if loan.equity_share is not None:
        paid = loan.equity_share.likely * price
    if loan.balloon.likely > price - paid:
        less = f", less {_money(study, paid)} paid at once" if paid else ""
        bound = (
            f"must be at most {_money(study, price - paid)}, what is borrowed: "
            f"{_price_words(study, offer)}, {_money(study, price)}{less}. Change one of them"
        )
        yield Problem(f"{path}.balloon", _money(study, loan.balloon.likely), bound)


def check_lease_rent(study: Study, key: str, offer: Offer) -> Iterator[Problem]:
    """Yield a lease whose rent or fee is said twice, or whose rent is not said."""
    if offer.lease is not None:
        path = f"offers.{key}.lease"
        yield from _exactly_one(path, offer.lease, ("rent", "rate_factor"))
        yield from _said_twice(path, offer.lease, ("fee", "fee_share"))


def check_lease_end(study: Study, key: str, offer: Offer) -> Iterator[Problem]:
    """Yield a purchase at the end without its price, or such a price without a purchase."""
    lease = offer.lease
    if lease is None:
        return
    path = f"offers.{key}.lease.residual"
    if lease.at_end == "purchase" and lease.residual is None:
        yield Problem(path, None, 'is missing, as at_end is "purchase"; 0 if nothing is paid')
    if lease.at_end != "purchase" and lease.residual is not None:
        shown = _money(study, lease.residual.likely)
        bound = f'must be left out, as at_end is "{lease.at_end}" and not "purchase"'
        yield Problem(path, shown, bound)


def check_lease_lends(study: Study, key: str, offer: Offer) -> Iterator[Problem]:
    """Yield a purchase by instalments whose first payments are the price already."""
    lease, price = offer.lease, _price(study, offer)
    if lease is None or price is None or lease.at_end != "ownership":
        return
    count, term = int(lease.rentals_in_advance.likely), int(lease.term.likely)
    up_front = _rent(lease, price) * count
    if up_front >= price or count == term:
        bound = (
            f"rentals are {_money(study, up_front)}: must be less than "
            f"{_price_words(study, offer)}, {_money(study, price)}, and fewer than all "
            f"{term}, or nothing is lent"
        )
        yield Problem(f"offers.{key}.lease.rentals_in_advance", count, bound)


def _rent(lease: LeaseOffer, price: float) -> float:
    if lease.rent is not None:
        return lease.rent.likely
    return price * lease.rate_factor.likely if lease.rate_factor is not None else 0.0


# What an alternative may choose


def check_offer_chosen(study: Study, path: str, placement: Placement) -> Iterator[Problem]:
    """Yield an offer that is unknown, for another machine, or no longer holds."""
    key = placement.offer
    if key is None:
        return
    if key not in study.offers:
        bound = f"is not a known offer; known: {_known(study.offers)}"
        yield Problem(f"{path}.offer", key, bound)
        return
    offer = study.offers[key]
    if offer.machine != placement.machine:
        names = [getattr(study.machines.get(each), "name", each)
                 for each in (offer.machine, placement.machine)]  # fmt: skip
        bound = f"is for {names[0]}, and this machine is {names[1]}"
        yield Problem(f"{path}.offer", key, bound)
    if offer.expired_on(study.money.start):
        bound = f"{offer.lapse(study.money.start)}: ask for a new one, or correct its last day"
        yield Problem(f"{path}.offer", None, bound)


def check_offer_alone(study: Study, path: str, placement: Placement) -> Iterator[Problem]:
    """Yield an offer for what is owned already, or beside a price of the placement's own."""
    if placement.offer is None:
        return
    if placement.owned:
        bound = "must be left out for a machine that is owned already"
        yield Problem(f"{path}.offer", placement.offer, bound)
    if placement.price is not None:
        bound = "must be left out where an offer is chosen, which says the price"
        yield Problem(f"{path}.price", _money(study, placement.price.likely), bound)


def check_offer_returned(study: Study, path: str, placement: Placement) -> Iterator[Problem]:
    """Yield a lease after which the machine goes back while the shop still counts on it."""
    offer = study.offers.get(placement.offer or "")
    if offer is None or offer.lease is None or offer.lease.at_end != "return":
        return
    if placement.sale_proceeds is not None:
        shown = _money(study, placement.sale_proceeds.likely)
        bound = f"must be left out, as the lease “{offer.name}” takes the machine back"
        yield Problem(f"{path}.sale_proceeds", shown, bound)
    until, what = study.money.horizon.likely, "the plan ends"
    if placement.sold_in_month is not None and placement.sold_in_month.likely < until:
        until, what = placement.sold_in_month.likely, "the machine is sold"
    back = placement.month.likely + offer.lease.term.likely
    if back < until:
        bound = (
            f"the lease “{offer.name}” takes the machine back in month {back:g}, before {what} "
            f"(month {until:g}): choose a longer term, or say in which month the machine goes "
            "(sold_in_month)"
        )
        yield Problem(f"{path}.offer", None, bound)


def _traded_in_time(
    key: str, choice: Alternative, place: int, gone: int, currency: str
) -> Problem | None:
    """Return an old machine that may go in another month than the purchase that credits it.

    Each date moves alone, so that a low or high value of either parts them.
    """
    bought, old, path = (
        choice.machines[place],
        choice.machines[gone],
        f"alternatives.{key}.machines",
    )
    if bought.when_load_passes is not None or old.sold_in_month is None:
        return None
    return Bound(
        f"{path}.{gone}.sold_in_month", old.sold_in_month, f"{path}.{place}.month", bought.month,
        np.equal, "must be the same as", "must be the same as",
        f"the purchase by {bought.offer} credits it, so neither may have another low or high",
    ).problem(spread=True, currency=currency)  # fmt: skip


def check_traded_once(study: Study, key: str, choice: Alternative) -> Iterator[Problem]:
    """Yield an old machine that is traded in and stays, or that is paid for twice."""
    traded: dict[str, int] = {}
    for place, placement in enumerate(choice.machines):
        offer = study.offers.get(placement.offer or "")
        if offer is None or offer.trade_in_of is None:
            continue
        path, old = f"alternatives.{key}.machines", offer.trade_in_of
        name = getattr(study.machines.get(old), "name", old)
        said = f"“{offer.name}” trades in {name}"
        if old in traded:
            bound = f"{said}, which another offer of this choice trades in already"
            yield Problem(f"{path}.{place}.offer", None, bound)
            continue
        traded[old] = place
        gone = [
            n
            for n, one in enumerate(choice.machines)
            if one.machine == old and n != place and one.sold_in_month is not None
        ]
        if not gone:
            bound = f"{said}: say in which month that machine goes (its sold_in_month)"
            yield Problem(f"{path}.{place}.offer", None, bound)
        for n in gone:
            parted = _traded_in_time(key, choice, place, n, study.currency)
            if parted is not None:
                yield parted
            proceeds = choice.machines[n].sale_proceeds
            if proceeds is None or proceeds.likely > 0:
                shown = None if proceeds is None else _money(study, proceeds.likely)
                bound = f"must be 0, as “{offer.name}” credits the trade-in of {name}"
                yield Problem(f"{path}.{n}.sale_proceeds", shown, bound)


def _offers(study: Study) -> Any:
    return getattr(study, "offers", {}).items()


def _alternatives(study: Study) -> Any:
    return getattr(study, "alternatives", {}).items()


#: As `capex.study.checks` takes them: rules, and the items of a study that each looks at.
OFFER_RULES: Final = (
    (
        (check_offer_machine, check_offer_kind, check_offer_dates, check_offer_trade_in,
         check_loan_rate, check_loan_payments, check_loan_amount, check_lease_rent,
         check_lease_end, check_lease_lends),
        _offers,
    ),
    ((check_offer_chosen, check_offer_alone, check_offer_returned), placements),
    ((check_traded_once,), _alternatives),
)  # fmt: skip
