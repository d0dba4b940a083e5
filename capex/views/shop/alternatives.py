"""The forms of the alternatives, each with what its machines cannot make.

May import: from capex errors, shopfloor, study, `views.shop` and `views.wording`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from capex.errors import InputError
from capex.shopfloor.missing import missing_in
from capex.study import Study
from capex.views.shop.choices import named
from capex.views.shop.forms import Group, table_group
from capex.views.shop.study_text import StudyText
from capex.views.wording import lacking

__all__ = ["alternatives_group", "cannot_make", "take_over"]


def alternatives_group(edited: StudyText) -> Group:
    """Return the forms of all alternatives, with what each lacks and a way to what is there."""
    new = [{"do": "new", "path": "alternatives", "label": "Add an alternative", "options": []}]
    group = table_group(edited, "alternatives", "Alternatives", new)
    for inner in group["groups"]:
        key = inner["path"].rpartition(".")[2]
        lines = cannot_make(edited.study, key)
        inner["said"] = lines
        inner["short"] = "cannot make all job types" if lines else ""
        there = _not_placed(edited, key)
        if there:
            names = ", ".join(named(edited, "machines", each["machine"]) for each in there)
            label = f"Take over the machines that are there: {names}"
            inner["actions"].insert(
                0, {"do": "take_over", "path": inner["path"], "label": label, "options": []}
            )
    return group


def cannot_make(study: Study, key: str) -> list[str]:
    """Return which job types an alternative has no machines for, those of one lack together.

    Parameters
    ----------
    study : Study
        The last one without problems; it may not have the alternative yet.
    key : str

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> cannot_make(study, "all_in_one"), cannot_make(study, "not_yet")
    ([], [])
    """
    if key not in study.alternatives:
        return []
    if not study.alternatives[key].machines:
        return [
            "No machines yet: all work is bought in, or refused where it has no price for that."
        ]
    together: dict[tuple[tuple[str, ...], bool], list[str]] = {}
    for job, lacks in missing_in(study, key).items():
        kind = study.jobs[job]
        bought = kind.bought_in_price is not None
        together.setdefault((lacks, bought), []).append(kind.name)
    return [
        f"{lacking(lacks).capitalize()}: {', '.join(names)} "
        f"{'is' if len(names) == 1 else 'are'} {'bought in' if bought else 'refused'}."
        for (lacks, bought), names in together.items()
    ]


def _not_placed(edited: StudyText, key: str) -> list[dict[str, Any]]:
    """Return the owned machines of the baseline that an alternative does not mention."""
    table = edited.raw("alternatives") or {}
    baseline = next((each for each in table.values() if _true(each, "baseline")), None)
    placed = {each.get("machine") for each in _machines(table.get(key))}
    found: dict[str, dict[str, Any]] = {}
    for each in _machines(baseline):
        machine = each.get("machine")
        if _true(each, "owned") and isinstance(machine, str) and machine not in placed:
            kept = {name: each[name] for name in ("machine", "count", "owned") if name in each}
            found.setdefault(machine, kept)
    return list(found.values())


def _machines(choice: object) -> list[Mapping[str, Any]]:
    listed = choice.get("machines") if isinstance(choice, Mapping) else None
    return [each for each in listed or () if isinstance(each, Mapping)]


def _true(part: object, name: str) -> bool:
    return isinstance(part, Mapping) and part.get(name) is True


def take_over(edited: StudyText, path: str) -> None:
    """Place the machines that are there, as the baseline has them, in an alternative too.

    Raises
    ------
    InputError
        No alternative, or one that has them all.
    """
    table, _, key = path.partition(".")
    there = _not_placed(edited, key) if table == "alternatives" else []
    if not there:
        raise InputError("path", path, "has all the machines that are there")
    with edited.together():
        for each in there:
            edited.append(f"{path}.machines", each)
