"""The JSON Schema of one entry: a number, a text with a unit, or a table of its parts.

Imports pydantic, `capex.units` and `capex.study.spread`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final, get_args

from pydantic.json_schema import JsonSchemaValue

from capex.study.spread import DistributionName
from capex.units import Kind

__all__ = ["MOST", "entry_schema"]

#: No shop has more of anything, canonical unit; products of inputs stay far from overflow.
MOST: Final = 1e15


def entry_schema(
    kind: Kind, example: str, bounds: Mapping[str, float | None], sources: Sequence[str]
) -> JsonSchemaValue:
    """Return the JSON Schema of an entry.

    Parameters
    ----------
    kind : Kind
        Of the quantity.
    example : str
        A well-formed entry; where empty, the kind's own is taken.
    bounds : mapping of str to float
        JSON Schema keyword to bound in the canonical unit; None where there is none.
    sources : sequence of str
        Tags an entry may carry.
    """
    text: JsonSchemaValue = {"type": "string", "examples": [example or kind.example]}
    single: list[JsonSchemaValue] = [{"type": "number"}, text] if kind.bare else [text]
    part: JsonSchemaValue = {"anyOf": single}
    chances = {"type": "array", "items": {"type": "number"}, "minItems": 3, "maxItems": 3}
    table: JsonSchemaValue = {
        "type": "object",
        "additionalProperties": False,
        "properties": {
            **dict.fromkeys(("value", "low", "likely", "high"), part),
            "distribution": {"enum": list(get_args(DistributionName))},
            "chances": chances,
            "source": {"enum": list(sources)},
            "date": {"type": "string", "format": "date"},
            "note": {"type": "string"},
        },
    }
    note = ", ".join(f"{name} {bound}" for name, bound in bounds.items() if bound is not None)
    described = f"{kind.name}; canonical unit {kind.unit or 'none'}; {note}"
    return {"description": described.rstrip("; "), "anyOf": [*single, table]}
