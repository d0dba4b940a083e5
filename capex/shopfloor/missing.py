"""What a choice has no machine for: functions that a job type needs and none of them has.

Imports `capex.study` and the stage files of this folder.
"""

from __future__ import annotations

from typing import Final

from capex.shopfloor.mix import Mix, job_mix
from capex.shopfloor.stations import working_places
from capex.study import Alternative, Study

__all__ = ["Missing", "missing_functions", "missing_in"]

#: Functions as `capex.study.Machine.functions` names them, in the order of the work.
Missing = tuple[str, ...]
_ORDER: Final = ("printing", "laminating", "cutting")


def missing_functions(study: Study, mix: Mix, alternative: Alternative) -> dict[str, Missing]:
    """Return what each job type needs and no machine of an alternative does, where anything.

    Parameters
    ----------
    study : Study
    mix : Mix
        Its job types; a type of which some orders are laminated needs a laminator.
    alternative : Alternative
        Machines that go before they work are none.

    Returns
    -------
    dict of str to tuple of str
        By key of the job type.
    """
    there: set[str] = set()
    for place in working_places(alternative):
        there |= study.machines[alternative.machines[place].machine].functions
    found = {}
    for j, key in enumerate(mix.keys):
        needs = {
            "printing": bool(mix.printed[j]),
            "laminating": bool(mix.printed[j] and (mix.laminated[:, j] > 0).any()),
            "cutting": bool(mix.contour_cut[j]),
        }
        lacks = tuple(name for name in _ORDER if needs[name] and name not in there)
        if lacks:
            found[key] = lacks
    return found


def missing_in(study: Study, key: str) -> dict[str, Missing]:
    """Return the same for one alternative of a study.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> {key: missing_in(study, key) for key in study.alternatives}
    {'keep': {}, 'separate': {}, 'all_in_one': {}, 'staged': {}}
    """
    return missing_functions(study, job_mix(study), study.alternatives[key])
