"""Problems of a study in the words of a person: what pydantic found, sorted as in the file.

Imports pydantic and the other files of `capex.study`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from typing import Any, Final, get_args

from pydantic import BaseModel, ValidationError

from capex.errors import Problem
from capex.study.entries import CURRENCY_PATTERN, KEY_PATTERN
from capex.study.places import MONTHS, entry_at

__all__ = ["parse_problems", "reported"]

_CUT_KINDS: Final = {"path", "rectangle", "circle", "artwork"}
#: How alike a name must be to be suggested: "rate" still leads to "annual_rate".
_ALIKE: Final = 0.5
#: So many problems are looked at for a name that may have been meant.
_SUGGESTED: Final = 100
#: More amounts than these in a foreign currency are one problem, not many.
_FEW: Final = 5

_PATTERNS: Final = {
    CURRENCY_PATTERN: "must be a currency code of three capital letters, such as USD (ISO 4217)",
    KEY_PATTERN: "must be a name of small letters, digits and underscores that begins with a "
    "letter, such as mid_roll_printer, at most 60 long",
}
_TABLE: Final = "must be a table, such as [machines.mid_roll_printer]"
_WORDS: Final = {
    "model_type": _TABLE,
    "dict_type": _TABLE,
    "model_attributes_type": _TABLE,
    "tuple_type": "must be a list in square brackets, such as [0.65, 0.5]",
    "bool_type": "must be true or false",
    "string_type": "must be a text in quotation marks",
    "string_too_short": "must not be empty",
    "extra_forbidden": "is not a known key",
}
_DATES: Final = "must be a date such as 2027-01-01"
_KINDS: Final = "needs kind = 'path', 'rectangle', 'circle' or 'artwork'"


def reported(problems: Iterable[Problem], mapping: Mapping[str, Any]) -> list[Problem]:
    """Return problems in the order of the file, each once, with the place in words."""
    found = {
        (problem.path, problem.bound): Problem(
            problem.path, problem.value, problem.bound, _place_words(problem.path, mapping)
        )
        for problem in problems
    }
    known: dict[int, dict[object, int]] = {}
    return sorted(found.values(), key=lambda problem: _place(problem.path, mapping, known))


def parse_problems(error: ValidationError, currency: str, model: type[BaseModel]) -> list[Problem]:
    """Return what pydantic found, one problem for one mistake.

    Parameters
    ----------
    error : ValidationError
        Of a whole study.
    currency : str
        As the study states it.
    model : type of BaseModel
        Of a study; it knows the keys that an unknown one may have been meant for.
    """
    found: list[Problem] = []
    foreign: list[Problem] = []
    for item in error.errors(include_url=False):
        path = _path(item["loc"])
        if item["type"] in {"too_short", "too_long"} and not _off_length(item):
            continue  # it is its entries that are wrong
        meant = _suggested(item, model) if len(found) < _SUGGESTED else ""
        problem = Problem(path, _value(item), _bound(item) + meant)
        (foreign if item["type"] == "currency" else found).append(problem)
    return [*found, *(_summary(foreign, currency) if len(foreign) > _FEW else foreign)]


def _summary(foreign: list[Problem], currency: str) -> list[Problem]:
    """Return one problem for each currency that many amounts are in."""
    paths: dict[str, list[str]] = {}
    for problem in foreign:
        code = problem.bound.partition(";")[0].removeprefix("is in ")
        paths.setdefault(code, []).append(problem.path)
    return [
        Problem(
            "currency",
            currency,
            f"is what this study counts in, and {len(each)} of its amounts are in {code}: write "
            f"those in {currency}, or all in {code}. They are: {', '.join(each)}",
        )
        for code, each in paths.items()
    ]


def _path(location: tuple[int | str, ...]) -> str:
    parts = [str(part) for part in location if part != "[key]"]
    return ".".join(
        part
        for k, part in enumerate(parts)
        if not (part in _CUT_KINDS and k > 0 and parts[k - 1] == "cut")
    )


def _off_length(item: Any) -> bool:
    limits, count = item["ctx"], len(item["input"])
    least, most = limits.get("min_length", 0), limits.get("max_length", count)
    return not least <= count <= most


def _value(item: Any) -> object:
    silent = {"missing", "union_tag_not_found", "union_tag_invalid", "too_short", "too_long"}
    if item["type"] in silent:
        return None
    value = item.get("ctx", {}).get("value", item["input"])
    return "…" if isinstance(value, (dict, list, BaseModel)) else value


def _bound(item: Any) -> str:
    kind, limits = item["type"], item.get("ctx", {})
    if kind == "missing":
        return "is missing"
    if kind in {"union_tag_not_found", "union_tag_invalid"}:
        return _KINDS
    if kind in {"too_short", "too_long"}:
        count = limits.get("min_length", limits.get("max_length"))
        end = "least" if kind == "too_short" else "most"
        entries = "entry" if count == 1 else "entries"
        return f"must have at {end} {count} {entries}, has {len(item['input'])}"
    if kind == "string_pattern_mismatch" and limits["pattern"] in _PATTERNS:
        return _PATTERNS[limits["pattern"]]
    if kind == "string_too_long":
        return f"must have at most {limits['max_length']} characters"
    if kind == "literal_error":
        return f"must be {limits['expected']}"
    if kind.startswith("date"):
        return _DATES
    message = str(item["msg"])
    return _WORDS.get(kind, message[:1].lower() + message[1:])


def _suggested(item: Any, model: type[BaseModel]) -> str:
    """Return the known key that is nearest to an unknown one, or nothing."""
    if item["type"] != "extra_forbidden":
        return ""
    *way, name = item["loc"]
    models = [model]
    for step in way:  # keys of tables, places in lists and kinds of cut lead no further
        fields = [each.model_fields[step] for each in models if step in each.model_fields]
        models = [part for field in fields for part in _models(field.annotation)] or models
    known = [key for each in models for key in each.model_fields]
    nearest = get_close_matches(str(name), known, n=1, cutoff=_ALIKE)
    return f"; did you mean {nearest[0]}?" if nearest else ""


def _models(annotation: Any) -> list[type[BaseModel]]:
    """Return the parts of a study that an annotation names."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for inner in get_args(annotation) for model in _models(inner)]


def _steps(path: str, mapping: Mapping[str, Any]) -> list[tuple[str, object]]:
    """Return the names of a path, each with what it leads into."""
    place: object = mapping
    steps = []
    for name in path.split("."):
        steps.append((name, place))
        place = entry_at(place, name)
    return steps


def _place(path: str, mapping: Mapping[str, Any], known: dict[int, dict[object, int]]) -> list[int]:
    """Return where a path stands in the file; what is missing comes after its neighbours.

    `known` remembers the places of a table's names, as many problems may stand in one.
    """
    found = []
    for name, owner in _steps(path, mapping):
        if isinstance(owner, Mapping):
            if id(owner) not in known:
                known[id(owner)] = {each: place for place, each in enumerate(owner)}
            places = known[id(owner)]
            found.append(places.get(name, len(places)))
        else:
            found.append(int(name) if name.isdecimal() else 0)
    return found


def _place_words(path: str, mapping: Mapping[str, Any]) -> str:
    """Return a place as a person calls it, or nothing where the path says as much.

    Examples
    --------
    >>> _place_words("machines.big.resale_by_year.0", {"machines": {"big": {"name": "Big one"}}})
    'Big one: resale by year, year 1'
    """
    steps = _steps(path, mapping)
    head, counted = "", False
    words: list[str] = []
    for k, (name, owner) in enumerate(steps):
        named = owner.get("name") if isinstance(owner, Mapping) else None
        if k == 2 and isinstance(named, str):
            head, words = f"{named.strip()}: ", []
        counted = counted or name.isdecimal()
        entry = name.isdecimal()
        spoken = _entry_words(name, steps[k - 1][0], owner, mapping) if entry else _spoken(name)
        words.append(spoken)
    return head + ", ".join(words if head else words[1:]) if head or counted else ""


def _entry_words(name: str, before: str, owner: object, mapping: Mapping[str, Any]) -> str:
    """Return an entry of a list as a person counts it."""
    index = int(name)
    if before == "seasonality" and index < len(MONTHS):
        return MONTHS[index]
    if before == "machines" and isinstance(owner, (list, tuple)) and index < len(owner):
        machine = owner[index].get("machine") if isinstance(owner[index], Mapping) else None
        known = entry_at(entry_at(entry_at(mapping, "machines"), str(machine)), "name")
        called = known if isinstance(known, str) else _spoken(machine)
        return f"entry {index + 1}" + (f" ({called})" if machine else "")
    return f"year {index + 1}" if before == "resale_by_year" else f"entry {index + 1}"


def _spoken(name: object) -> str:
    return str(name).replace("_", " ")
