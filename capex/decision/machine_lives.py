"""Machines of unequal lives side by side: level cost a year, and a chain to a common horizon.

Costs alone, as `capex.decision.replacement` takes them. Imports numpy, `capex.study`,
`capex.finance` and `replacement` of this folder.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from capex.decision.replacement import machine_life
from capex.finance.discounting import annuity_factor
from capex.finance.measures import equivalent_annual_value, replacement_chain_value
from capex.study import Study

__all__ = ["MachineLife", "machine_lives"]

#: Longest chain that is shown [years]; the figure is ours.
_LONGEST: Final = 100


@dataclass(frozen=True)
class MachineLife:
    """What a machine costs if it goes at its best age and is followed by its like; positive.

    Parameters
    ----------
    machine : str
        Key.
    age : int
        Age at which a year costs least [years].
    still_falling : bool
        Whether that is the last age looked at.
    present_cost : float
        Of one life [currency].
    annual_cost : float
        The same as a level amount at each year's end [currency/year].
    chain_cost : float or None
        Present cost of one life after the other up to `chain_years` [currency]; None where no
        common horizon of all the machines is near.
    chain_years : int
        Least common multiple of all the ages [years].
    """

    machine: str
    age: int
    still_falling: bool
    present_cost: float
    annual_cost: float
    chain_cost: float | None
    chain_years: int


def machine_lives(
    study: Study, machines: Sequence[str], *, upkeep_growth: float, years: int = 12
) -> tuple[MachineLife, ...]:
    """Return what machines of unequal lives cost, bought new: both comparisons that are usual.

    The level cost a year and the chain rank alike wherever there is a chain.

    Parameters
    ----------
    study : Study
    machines : sequence of str
        Keys.
    upkeep_growth : float [1/year]
        As `machine_life`.
    years : int
        Oldest age looked at.

    Returns
    -------
    tuple of MachineLife
        In the order asked for.

    Raises
    ------
    InputError
        As `machine_life`.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = machine_lives(study, ["mid_all_in_one"], upkeep_growth=0.3)
    >>> found[0].chain_years == found[0].age
    True

    Source: openstax-finance, section 16.5 (both comparisons).
    """
    rate = float(study.money.discount_rate.si[0])
    lives = [machine_life(study, key, upkeep_growth=upkeep_growth, years=years) for key in machines]
    ages = [int(life.age[0]) for life in lives]
    common = math.lcm(*ages)
    found = []
    for key, life, age in zip(machines, lives, ages, strict=True):
        once = float(life.cost[0]) * float(annuity_factor(rate, age))
        chain = float(replacement_chain_value(once, rate, age, common))
        found.append(
            MachineLife(
                key, age, bool(life.still_falling[0]), once,
                float(equivalent_annual_value(once, rate, age)),
                chain if common <= _LONGEST else None, common,
            )
        )  # fmt: skip
    return tuple(found)
