"""What no plan can pass: it is always asked of those who decide.

Imports `finding` and `spots`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from capex.shopfloor.plan.finding import Finding
from capex.shopfloor.plan.spots import Standing

__all__ = ["open_questions"]

_ASKED: tuple[tuple[str, str, str, str], ...] = (
    (
        "Ventilation", "The room",
        "do inks, cleaning and drying have the air change that they need?",
        "Never passed here. The ink's safety data sheet, the maker's instructions and a competent "
        "heating and ventilation engineer decide.",
    ),
    (
        "Circuits and disconnects", "The room",
        "has each machine its circuit, its earthing and a disconnect within reach?",
        "A licensed electrician and the local code decide. Machines that are worked on live need "
        "a working space of their own.",
    ),
    (
        "Number and place of exits", "The room",
        "are there exits enough, near enough, with doors that open the right way?",
        "The authority having jurisdiction and the landlord decide.",
    ),
    (
        "Sprinklers and fire load", "The room",
        "do machines, rolls and shelves leave sprinklers, alarms and extinguishers clear?",
        "The authority having jurisdiction, the landlord and the insurer decide.",
    ),
    (
        "Accessibility", "The room",
        "do doors, aisles and turning spaces meet the accessibility rules?",
        "The authority having jurisdiction decides; these rules often ask for wider ways than the "
        "least way out.",
    ),
    (
        "Lifting and moving", "The room",
        "how do machines and rolls get to their place?",
        "Rolls and machines by team lift or hoist. The carrier looks at height, turns and stairs.",
    ),
)  # fmt: skip


def open_questions(machines: Sequence[Standing]) -> Iterator[Finding]:
    """Yield what has to be asked whatever the plan; floor load machine by machine.

    Parameters
    ----------
    machines : sequence of Standing
        Those of the alternative.
    """
    for standing in machines:
        mass = standing.machine.mass
        told = "can the floor carry it on its feet?"
        reason = told if mass is not None else f"{told} Its mass is not entered"
        yield Finding(
            "ask", "Floor load", standing.name, reason,
            "The landlord or a structural engineer decides; the load stands on a few feet, not "
            "on the whole frame.",
            found=None if mass is None else mass.likely, kind="mass",
        )  # fmt: skip
    for rule, subject, reason, caution in _ASKED:
        yield Finding("ask", rule, subject, reason, caution)
