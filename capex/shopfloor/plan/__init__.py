"""The plan of the room: machines by hand or by search, and a list of what passes, asks and fails.

::

    fixtures(room) ─┐
    spots_by_hand  ─┼─► check_plan ─► floor_plan
    arrangement    ─┘

Screening only: local codes, the authority having jurisdiction, the landlord and licensed
practice govern.

Imports the files of this folder.
"""

from capex.shopfloor.plan.arrangement import arrangement
from capex.shopfloor.plan.finding import Finding, Status
from capex.shopfloor.plan.findings import check_plan
from capex.shopfloor.plan.fixtures import Doorway, Fixtures, Panel, Solid, Swing, fixtures
from capex.shopfloor.plan.floor_plan import FloorPlan, floor_plan
from capex.shopfloor.plan.questions import open_questions
from capex.shopfloor.plan.spots import (
    Spot,
    Standing,
    entries_by_hand,
    spots_by_hand,
    standing_machines,
)

__all__ = [
    "Doorway",
    "Finding",
    "Fixtures",
    "FloorPlan",
    "Panel",
    "Solid",
    "Spot",
    "Standing",
    "Status",
    "Swing",
    "arrangement",
    "check_plan",
    "entries_by_hand",
    "fixtures",
    "floor_plan",
    "open_questions",
    "spots_by_hand",
    "standing_machines",
]
