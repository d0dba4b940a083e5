"""The price of a machine at which nothing is gained, and the price that a lender's cover bears.

Closed forms over years; the general case is found on the path of the ledger by
`capex.decision.walk_away`. Imports numpy, `capex.errors` and the files of this folder.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from capex.errors import InputError
from capex.finance.arrays import FloatArray, parse_finite, parse_positive, parse_rate
from capex.finance.loans import level_payment

__all__ = ["bankable_price", "loan_constant", "walk_away_price"]


def walk_away_price(
    operating_value: ArrayLike,
    discount_rate: ArrayLike,
    *,
    tax_rate: ArrayLike = 0.0,
    depreciation: ArrayLike = (0.0,),
    salvage: ArrayLike = 0.0,
    salvage_share: ArrayLike = 0.0,
) -> FloatArray:
    """Return the price at which a machine's net present value is zero.

    P = [A + S(1−t)vᴺ] / [1 − t(z + b·vᴺ) − s(1−t)vᴺ], with z the present value of the shares
    claimed, b what is not claimed by the end, v = 1/(1 + r). The machine is kept for the N years
    of `depreciation`; tax is at year ends, and losses are absorbed.

    Parameters
    ----------
    operating_value : array_like, (...) [currency]
        A: present value of all flows after tax but price, its depreciation and salvage; what is
        paid for installation taken off.
    discount_rate : array_like, (...) [1/year]
        Effective annual rate, above −1.
    tax_rate : array_like, (...)
        Fraction from 0 to below 1.
    depreciation : array_like, (N,)
        Share of the price claimed at the end of each year that the machine is kept, together at
        most 1; what is left is settled against its salvage.
    salvage : array_like, (...) [currency]
        S: part of what it fetches at the end, before tax, that does not depend on its price.
    salvage_share : array_like, (...)
        s: part of what it fetches at the end that is a share of its price.

    Returns
    -------
    ndarray, (...) [currency]
        Negative where the machine would not be worth having free.

    Raises
    ------
    InputError
        Shares outside 0 to 1, or so much coming back that no price is too high.

    Examples
    --------
    >>> round(float(walk_away_price(18_835.62, 0.09)), 2)
    18835.62
    >>> value = 1500 * 0.6 * (1 - 1.1**-5) / 0.1
    >>> round(float(walk_away_price(value, 0.1, tax_rate=0.4, depreciation=[0.2] * 5)))
    4897

    Source: derivable; with openstax-finance, section 16.2, and ut-austin-depreciation.
    """
    shares = _shares("depreciation", np.atleast_1d(parse_finite("depreciation", depreciation)))
    if shares.ndim != 1 or shares.sum() > 1.0 + 1e-9:
        raise InputError("depreciation", shares.sum(), "must be one share a year, at most 1 in all")
    tax = _shares("tax_rate", parse_finite("tax_rate", tax_rate))
    back = _shares("salvage_share", parse_finite("salvage_share", salvage_share))
    factor = 1.0 / (1.0 + parse_rate("discount_rate", discount_rate))
    years = np.arange(1, shares.size + 1)
    claimed = (shares * factor[..., None] ** years).sum(axis=-1)
    end = factor**shares.size
    left = 1.0 - shares.sum()
    kept = 1.0 - tax * (claimed + left * end) - back * (1.0 - tax) * end
    if (kept <= 0.0).any():
        bound = "must leave a part of the price that tax and salvage do not bring back"
        raise InputError("salvage_share", float(np.max(back)), bound)
    worth = parse_finite("operating_value", operating_value)
    fetched = parse_finite("salvage", salvage) * (1.0 - tax) * end
    return np.asarray((worth + fetched) / kept)


def loan_constant(annual_rate: ArrayLike, term: ArrayLike) -> FloatArray:
    """Return what a level-payment loan takes in a year for each unit borrowed.

    Parameters
    ----------
    annual_rate : array_like, (...) [1/year]
        Nominal, compounded monthly.
    term : array_like, (...) [months]

    Returns
    -------
    ndarray, (...) [1/year]

    Examples
    --------
    >>> round(float(loan_constant(0.06, 36)), 6)
    0.365063

    Source: openstax-finance, section 8.3 (the payment); twelve of them are derivable.
    """
    return np.asarray(12.0 * level_payment(1.0, annual_rate, term))


def bankable_price(
    cash_available: ArrayLike,
    minimum_cover: ArrayLike,
    constant: ArrayLike,
    *,
    existing_debt_service: ArrayLike = 0.0,
    loan_to_value: ArrayLike = 1.0,
) -> FloatArray:
    """Return the price whose loan takes all the cash that a lender's minimum cover leaves.

    (cash available / minimum cover − existing debt service) / (loan to value × loan constant).

    Parameters
    ----------
    cash_available : array_like, (...) [currency/year]
        Before debt service.
    minimum_cover : array_like, (...)
        Cash available over debt service that the lender asks for, above 0.
    constant : array_like, (...) [1/year]
        Debt service of a year for each unit borrowed, above 0; see `loan_constant`.
    existing_debt_service : array_like, (...) [currency/year]
        Of other debts.
    loan_to_value : array_like, (...)
        Share of the price that is borrowed, above 0.

    Returns
    -------
    ndarray, (...) [currency]
        Negative where the other debts take more than that already.

    Raises
    ------
    InputError
        A cover, a constant or a share that is not above 0.

    Examples
    --------
    >>> round(float(bankable_price(100_000, 1.25, 0.25, loan_to_value=0.8)))
    400000

    Source: derivable; with lender-cover-article.
    """
    cover = parse_positive("minimum_cover", minimum_cover, "")
    each = parse_positive("constant", constant, "a year")
    share = parse_positive("loan_to_value", loan_to_value, "")
    bearable = parse_finite("cash_available", cash_available) / cover
    other = parse_finite("existing_debt_service", existing_debt_service)
    return np.asarray((bearable - other) / (share * each))


def _shares(field: str, values: FloatArray) -> FloatArray:
    if ((values < 0.0) | (values > 1.0)).any():
        worst = values[(values < 0.0) | (values > 1.0)].flat[0]
        raise InputError(field, float(worst), "must be from 0 to 1 (a fraction: 0.25 for 25 %)")
    return values
