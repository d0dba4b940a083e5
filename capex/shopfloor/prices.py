"""Price levels by month, nominal, stepping once a year.

Imports numpy and `capex.study`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from capex.shopfloor.arrays import FloatArray
from capex.study import Quantity, Study

__all__ = ["Prices", "price_levels"]


@dataclass(frozen=True)
class Prices:
    """Levels against today's prices, months 1 … m, shape (n, m).

    Parameters
    ----------
    sales, materials, wages, overheads : ndarray, shape (n, m)
        1 is today's level. Bought-in work follows materials.
    """

    sales: FloatArray
    materials: FloatArray
    wages: FloatArray
    overheads: FloatArray


def price_levels(study: Study, months: int) -> Prices:
    """Return the price levels that the study's escalation brings about.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> raised = study.replaced({"money.escalation.wages": 0.03})
    >>> price_levels(raised, 24).wages[0, [0, 11, 12]].round(4).tolist()
    [1.0, 1.0, 1.03]
    """
    years = np.arange(months) // 12
    rise = study.money.escalation

    def level(rate: Quantity) -> FloatArray:
        return (1.0 + rate.si[:, None]) ** years

    return Prices(
        level(rise.prices), level(rise.materials), level(rise.wages), level(rise.overheads)
    )
