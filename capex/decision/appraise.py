"""The one path from a study to its figures: stage times → capacity → ledger → measures.

`appraise` is the same for one scenario and for thousands. A batch runs in blocks that fit the
processor's cache; each block goes the whole path, and what is kept of it depends on `keep`.

Imports numpy, `capex.study`, `capex.shopfloor` and `capex.finance`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
import numpy.typing as npt

from capex.decision.blocks import BLOCK, in_blocks, of_block
from capex.decision.outcome import Details, Outcome, joined
from capex.errors import InputError
from capex.finance.cash_flows import cash_flows, sales_of_first_month
from capex.finance.discounting import discount_factors
from capex.shopfloor.capacity import monthly_output
from capex.shopfloor.content import Contents
from capex.shopfloor.demand import demand
from capex.shopfloor.floor import occupied_area
from capex.shopfloor.mix import job_mix
from capex.shopfloor.prices import price_levels
from capex.shopfloor.routes import routes
from capex.shopfloor.trigger import with_triggered_months
from capex.shopfloor.year.lateness import being_late_costs, held_shares, late_shares
from capex.shopfloor.year.monthly_plan import MonthlyPlan
from capex.study import Study

__all__ = ["Appraisal", "Lateness", "appraise", "held_lateness"]

FloatArray = npt.NDArray[np.float64]
Keep = Literal["everything", "cash"]
Lateness = Mapping[str, FloatArray]


@dataclass(frozen=True)
class Appraisal:
    """Every alternative of a study under every scenario.

    Parameters
    ----------
    study : Study
        As entered, before scenarios.
    scenarios : int
        How many.
    outcomes : dict of str to Outcome
        By key of the alternative, in the order of the study.
    """

    study: Study
    scenarios: int
    outcomes: dict[str, Outcome]

    @property
    def baseline(self) -> Outcome:
        """What the others are measured against."""
        return self.outcomes[self.study.baseline]

    @cached_property
    def net_present_value(self) -> FloatArray:
        """NPV of each alternative less the baseline's, shape (n, alternatives) [currency]."""
        own = np.stack([found.net_present_value for found in self.outcomes.values()], axis=1)
        return own - self.baseline.net_present_value[:, None]

    @cached_property
    def best(self) -> npt.NDArray[np.intp]:
        """Alternative that leaves most money, shape (n,), as a place in `outcomes`."""
        return np.asarray(self.net_present_value.argmax(axis=1))

    @property
    def lateness(self) -> dict[str, FloatArray] | None:
        """Shares of late orders in the first scenario by alternative, each of shape (1, j, m).

        None where being late costs nothing; of an appraisal that kept everything.
        """
        found = {}
        for key, outcome in self.outcomes.items():
            if outcome.path.late is None:
                return None
            found[key] = outcome.path.late[:1, :, : int(outcome.horizon[0])]
        return found


def appraise(
    study: Study,
    scenarios: Mapping[str, npt.ArrayLike] | None = None,
    *,
    keep: Keep | None = None,
    like: Appraisal | None = None,
    lateness: Lateness | None = None,
) -> Appraisal:
    """Return what every alternative of a study comes to, under each scenario.

    Parameters
    ----------
    study : Study
        The shop, its work, its money and the choices before it.
    scenarios : mapping of str to array_like, shape (n,) or scalar, optional
        Inputs that differ, by path, in canonical units: ``{"levers.demand": [0.8, 1.0, 1.2]}``.
    keep : {"everything", "cash"}, optional
        Whether the shop floor and the ledger are kept beside cash by month and the headline
        figures; by default up to 256 scenarios keep everything.
    like : Appraisal, optional
        One of the same study or of it with some inputs replaced; what an order takes is not
        worked out again where nothing that it depends on differs. Changes no figure.
    lateness : mapping of str to ndarray, shape (1, j, months), optional
        Shares of late orders by alternative, held in every scenario; see `held_lateness`. Without
        them the years of every scenario are simulated where being late costs something.

    Returns
    -------
    Appraisal
        Arrays over a leading scenario axis; n is 1 without scenarios.

    Raises
    ------
    InputError
        A path that is not an input, or a value outside its bounds.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = appraise(study, {"levers.demand": [0.8, 1.0, 1.2]})
    >>> found.scenarios, list(found.outcomes)
    (3, ['keep', 'separate', 'all_in_one', 'staged'])
    >>> bool((found.outcomes["keep"].gain == 0).all())
    True
    """
    if keep not in (None, "everything", "cash"):
        raise InputError("keep", keep, "must be 'everything' or 'cash'")
    replaced = {path: _values(path, v) for path, v in (scenarios or {}).items()}
    sizes = {values.size for values in replaced.values()} - {1}
    if len(sizes) > 1:
        raise InputError("scenarios", sorted(sizes), "must all have the same length")
    count = max(sizes, default=1)
    if count == 0:
        raise InputError("scenarios", 0, "must have at least one value an input")
    if keep == "everything" and count > BLOCK:
        raise InputError("keep", keep, f"is for at most {BLOCK} scenarios")
    everything = (keep or ("everything" if count <= BLOCK else "cash")) == "everything"
    if count > BLOCK:
        study.replaced(replaced)  # refuses bad values before any work, naming the whole range
    months = int(np.max(replaced.get("money.horizon", study.money.horizon.si)))
    known = _contents(like)

    def block(some: slice) -> dict[str, Outcome]:
        size, changed = some.stop - some.start, study.replaced(of_block(replaced, some))
        return _block(changed, months, size, known, lateness, everything=everything)

    # years that are simulated on the way are kept for other appraisals, which a copy could not
    copies = lateness is not None or not being_late_costs(study)
    blocks = list(in_blocks(block, count, copies=copies))
    outcomes = {key: joined([block[key] for block in blocks]) for key in study.alternatives}
    baseline = outcomes[study.baseline]
    for outcome in outcomes.values():
        outcome.measured_against(baseline)
    return Appraisal(study, count, outcomes)


def _values(path: str, values: npt.ArrayLike) -> FloatArray:
    try:
        return np.atleast_1d(np.asarray(values, dtype=np.float64))
    except (TypeError, ValueError):
        raise InputError(path, values, "must be a number, or one a scenario") from None


def _contents(like: Appraisal | None) -> Contents | None:
    details = like.baseline.details if like is not None else None
    return details.contents if details is not None else None


def _block(
    entered: Study,
    months: int,
    size: int,
    known: Contents | None,
    lateness: Lateness | None,
    *,
    everything: bool,
) -> dict[str, Outcome]:
    mix = job_mix(entered)
    contents = Contents(entered, mix, known)
    prices = price_levels(entered, months)
    study = with_triggered_months(entered, contents, prices)
    factors = discount_factors(study.money.discount_rate.si, months, study.money.convention)
    asked_for = demand(study, mix, months)
    found, today = {}, None
    # the baseline first: what it sells in the first month is what the shop sells today
    for key in sorted(study.alternatives, key=lambda one: one != study.baseline):
        alternative = study.alternatives[key]
        ways = routes(contents, alternative)
        output = monthly_output(study, mix, alternative, ways, prices, asked_for)
        area = occupied_area(study, key, months)
        plan = MonthlyPlan(study, alternative, mix, ways, output)
        late = _late(entered, key, months, plan, lateness)
        ledger = cash_flows(study, mix, alternative, ways, output, prices, area, size, late, today)
        today = sales_of_first_month(ledger) if today is None else today
        path = Details(study, mix, prices, contents, ways, output, area, ledger, late)
        found[key] = Outcome.of(key, path, factors, size, everything=everything)
    return {key: found[key] for key in study.alternatives}


def _late(
    entered: Study, key: str, months: int, plan: MonthlyPlan, lateness: Lateness | None
) -> FloatArray | None:
    """Return the shares of late orders, held or simulated; None where being late costs nothing."""
    if not being_late_costs(entered):
        return None
    if lateness is None:
        return late_shares(entered, key, months, plan)
    if key not in lateness:
        raise InputError("lateness", list(lateness), f"must have shares for {key}")
    return held_shares(lateness[key], months)


def held_lateness(
    study: Study, scenario: Mapping[str, float] | None = None
) -> dict[str, FloatArray] | None:
    """Return the shares of late orders in one scenario, for batches around it that hold them.

    Parameters
    ----------
    study : Study
    scenario : mapping of str to float, optional
        Inputs that differ from the study, canonical units.

    Returns
    -------
    dict of str to ndarray, or None
        See `Appraisal.lateness`; None, and nothing simulated, where being late costs nothing.

    Raises
    ------
    InputError
        A path that is not an input, or a value outside its bounds.
    """
    here = study.replaced(dict(scenario or {}))
    return appraise(here, keep="everything").lateness if being_late_costs(here) else None
