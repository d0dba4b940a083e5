"""Decide between separate print and cut machines and an all-in-one machine.

The flow of the decision, and of the package::

    study      what the user knows: machines, jobs, shop, money, alternatives
      ↓
    shopfloor  stage times → routes → loads → what each month makes
      ↓
    finance    the monthly ledger of every alternative, and the measures read off it
      ↓
    decision   appraise: the one path to every number; verdict, swings, crossovers
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
from capex.decision.crossover import crossovers, volume_sweep
from capex.decision.jobs import job_stages, jobs_made_elsewhere, yearly_contribution
from capex.decision.outcome import Outcome
from capex.decision.swings import swings
from capex.decision.verdict import verdict
from capex.errors import CapexError, InputError, StudyError
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
    "crossovers",
    "data_folder",
    "job_stages",
    "jobs_made_elsewhere",
    "read_study",
    "swings",
    "verdict",
    "volume_sweep",
    "yearly_contribution",
]
