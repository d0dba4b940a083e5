"""What share of the orders is late, for the ledger: from the simulated years of a horizon.

Only where a study says that being late costs something: every scenario, alternative and year is
simulated by itself.

Imports numpy, `capex.study` and the files of this folder.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.year.monthly_plan import monthly_plan
from capex.shopfloor.year.simulated_year import simulated_year
from capex.study import Study

__all__ = ["SEED", "being_late_costs", "late_shares"]

#: Of the simulated years behind the ledger, the same for all alternatives and scenarios.
SEED: Final = 1


def being_late_costs(study: Study) -> bool:
    """Return whether a late order costs anything in any scenario."""
    promises = study.shop.promises
    costs = (promises.cost_of_late_order, promises.price_lost_when_late)
    return any(bool((cost.si > 0).any()) for cost in costs)


def late_shares(study: Study, key: str, months: int) -> FloatArray:
    """Return the share of each type's orders that is late, year by year.

    Parameters
    ----------
    study : Study
        One scenario or several.
    key : str
        Of the alternative.
    months : int
        Months of the table; each scenario is simulated to its own horizon, then 0.

    Returns
    -------
    ndarray, shape (n, j, months) [-]

    Raises
    ------
    InputError
        Unknown alternative.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> study = study.replaced({"money.horizon": 37})
    >>> late_shares(study, "separate", 37).shape
    (1, 10, 37)
    """
    varied = {path: q.si for path, q in study.quantities() if q.si.size > 1}
    count = max((values.size for values in varied.values()), default=1)
    shares = np.zeros((count, len(study.jobs), months))
    for i in range(count):
        one = study.replaced({path: values[i] for path, values in varied.items()})
        horizon = int(one.money.horizon.si[0])
        plan = monthly_plan(one, key, horizon)
        for year in range(1, -(-horizon // 12) + 1):
            late = simulated_year(one, key, year, SEED, plan=plan).late_share
            shares[i, :, 12 * year - 12 : 12 * year] = late[:, None]
    return shares
