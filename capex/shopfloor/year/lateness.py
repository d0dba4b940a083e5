"""What share of the orders is late, for the ledger: from the simulated years of a horizon.

Only where a study says that being late costs something. A year is simulated once for all
scenarios and appraisals in which nothing differs that it depends on.

Imports numpy, `capex.study` and the files of this folder.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from typing import Final

import numpy as np

from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.year.fingerprint import Fingerprint
from capex.shopfloor.year.monthly_plan import MonthlyPlan, monthly_plan
from capex.shopfloor.year.simulated_year import simulated_year
from capex.study import Study

__all__ = ["SEED", "being_late_costs", "held_shares", "late_shares"]

#: Of the simulated years behind the ledger, the same for all alternatives and scenarios.
SEED: Final = 1
#: Years whose shares are kept, the latest asked for: some hundred bytes each.
_KEPT: Final = 8192


class _Known:
    """Shares by key, kept as long as they are asked for; threads may share it."""

    def __init__(self) -> None:
        self._shares: OrderedDict[bytes, FloatArray] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: bytes) -> FloatArray | None:
        with self._lock:
            found = self._shares.get(key)
            if found is not None:
                self._shares.move_to_end(key)
            return found

    def put(self, key: bytes, shares: FloatArray) -> None:
        with self._lock:
            self._shares[key] = shares
            while len(self._shares) > _KEPT:
                self._shares.popitem(last=False)

    def forget(self) -> None:
        with self._lock:
            self._shares.clear()


_known = _Known()


def being_late_costs(study: Study) -> bool:
    """Return whether a late order costs anything in any scenario."""
    promises = study.shop.promises
    costs = (promises.cost_of_late_order, promises.price_lost_when_late)
    return any(bool((cost.si > 0).any()) for cost in costs)


def late_shares(study: Study, key: str, months: int, plan: MonthlyPlan | None = None) -> FloatArray:
    """Return the share of each type's orders that is late, year by year.

    Parameters
    ----------
    study : Study
        One scenario or several.
    key : str
        Of the alternative.
    months : int
        Months of the table; each scenario is simulated to its own horizon, then 0.
    plan : MonthlyPlan, optional
        Of the same study and alternative for as many months, where it is known already.

    Returns
    -------
    ndarray, shape (n or 1, j, months) [-]
        One row where no scenario differs in what the years depend on.

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
    prints = Fingerprint(plan or monthly_plan(study, key, months))
    horizons = study.money.horizon.si.astype(np.int64)
    shares = np.zeros((max(prints.scenarios, horizons.size), len(study.jobs), months))
    for i in range(len(shares)):
        horizon = int(horizons[min(i, horizons.size - 1)])
        one = _OneScenario(study, key, i, horizon)
        for first in range(1, horizon + 1, 12):
            last = min(first + 11, horizon)
            mark = prints.key(i, first, last, SEED)
            late = _known.get(mark)
            if late is None:
                late = one.late_share(first)
                _known.put(mark, late)
            shares[i, :, first - 1 : last] = late[:, None]
    return shares


def held_shares(shares: FloatArray, months: int) -> FloatArray:
    """Return shares over another number of months, the last month's for those beyond it.

    Parameters
    ----------
    shares : ndarray, shape (n, j, at least 1) [-]
    months : int

    Returns
    -------
    ndarray, shape (n, j, months) [-]

    Examples
    --------
    >>> held_shares(np.array([[[0.1, 0.3]]]), 3).tolist()
    [[[0.1, 0.3, 0.3]]]
    """
    return shares[..., np.minimum(np.arange(months), shares.shape[-1] - 1)]


class _OneScenario:
    """One of a study's scenarios by itself, worked out when the first year of it is asked for."""

    def __init__(self, study: Study, key: str, number: int, horizon: int) -> None:
        self._study, self._key, self._number, self._horizon = study, key, number, horizon
        self._plan: MonthlyPlan | None = None

    def late_share(self, first: int) -> FloatArray:
        """Return the share of each type's orders of the year from month `first` that is late."""
        if self._plan is None:
            varied = {path: q.si for path, q in self._study.quantities() if q.si.size > 1}
            self._study = self._study.replaced({p: v[self._number] for p, v in varied.items()})
            self._plan = monthly_plan(self._study, self._key, self._horizon)
        year = (first + 11) // 12
        return simulated_year(self._study, self._key, year, SEED, plan=self._plan).late_share
