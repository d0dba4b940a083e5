"""Decide between separate print and cut machines and an all-in-one machine.

The flow of the decision, and of the package::

    study      what the user knows: machines, jobs, shop, money, alternatives
      ↓
    shopfloor  stage times → routes → loads → what each month makes
      ↓
    finance    the monthly ledger of every alternative, and the measures read off it
      ↓
    decision   appraise: the one path to every number; verdict, swings, walk-away prices
      ↓
    views      pages, charts, tables and words

Every number comes from `appraise`, for one scenario or for thousands:

>>> import capex
>>> study = capex.read_study(capex.data_folder() / "studies" / "quenlow.toml")
>>> found = capex.appraise(study, {"levers.demand": [0.8, 1.0, 1.2]})
>>> found.net_present_value.shape
(3, 4)
"""

from capex.decision.appraise import Appraisal, appraise
from capex.decision.break_even import break_evens
from capex.decision.break_even_table import break_even_table
from capex.decision.cover import cover_volumes, lender_view_of
from capex.decision.crossover import crossovers, volume_sweep
from capex.decision.explanation import explanation
from capex.decision.jobs import job_stages, jobs_made_elsewhere, yearly_contribution
from capex.decision.lost_today import lost_today
from capex.decision.make_or_buy import make_or_buy
from capex.decision.outcome import Outcome
from capex.decision.ownership import ownership_cost
from capex.decision.replacement import machine_life, machine_replacement
from capex.decision.staging import purchase_timing
from capex.decision.stress import stress_test
from capex.decision.swings import swings
from capex.decision.used_or_new import used_or_new
from capex.decision.verdict import verdict
from capex.decision.walk_away import walk_away_prices
from capex.errors import CapexError, InputError, StudyError
from capex.finance.offers import offers_side_by_side
from capex.study import Study, StudyFile, data_folder, read_study

__all__ = [
    "Appraisal",
    "CapexError",
    "InputError",
    "Outcome",
    "Study",
    "StudyError",
    "StudyFile",
    "appraise",
    "break_even_table",
    "break_evens",
    "cover_volumes",
    "crossovers",
    "data_folder",
    "explanation",
    "job_stages",
    "jobs_made_elsewhere",
    "lender_view_of",
    "lost_today",
    "machine_life",
    "machine_replacement",
    "make_or_buy",
    "offers_side_by_side",
    "ownership_cost",
    "purchase_timing",
    "read_study",
    "stress_test",
    "swings",
    "used_or_new",
    "verdict",
    "volume_sweep",
    "walk_away_prices",
    "yearly_contribution",
]
