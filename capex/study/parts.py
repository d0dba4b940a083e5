"""The model that every part of a study derives from, and what is left of one that has problems.

A part that cannot be read as a whole still shows which of its fields can, so that rules between
fields are checked in the same round and no one problem hides another.

Imports pydantic.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from functools import cache
from typing import TYPE_CHECKING, Any, Final, Self, TypeVar, get_origin

from pydantic import (
    BaseModel,
    ConfigDict,
    ModelWrapValidatorHandler,
    ValidationError,
    ValidationInfo,
    create_model,
    model_validator,
)

__all__ = ["PARTIAL", "Part", "Unparsed"]

#: Key of the validation context that asks for what can be read instead of an error.
PARTIAL: Final = "partial"


class Unparsed(AttributeError):  # noqa: N818 - no error of the user's: theirs is reported already
    """A field of a partial part that is missing or could not be read."""


class Part(BaseModel):
    """A part of a study: unknown keys are refused, nothing changes in place."""

    model_config = ConfigDict(extra="forbid", frozen=True, validate_default=False, strict=True)

    if not TYPE_CHECKING:

        def __getattr__(self, name: str) -> Any:
            """Refuse a field that could not be read; pydantic answers for all else."""
            if name in type(self).model_fields:
                raise Unparsed(name)
            return super().__getattr__(name)

    @model_validator(mode="wrap")
    @classmethod
    def _whole_or_partial(
        cls, value: Any, whole: ModelWrapValidatorHandler[Self], info: ValidationInfo
    ) -> Self:
        context = info.context or {}
        if not context.get(PARTIAL):
            return whole(value)
        try:
            return whole(value)
        except ValidationError:
            return _partial(cls, value, context)


_P = TypeVar("_P", bound=Part)


def _partial(cls: type[_P], value: object, context: dict[str, Any]) -> _P:
    """Return a part that holds the fields that can be read; the others are `Unparsed`."""
    table = value if isinstance(value, Mapping) else None
    part = cls.model_construct()
    for name, field in cls.model_fields.items():
        if table is not None and name not in table and not field.is_required():
            continue
        part.__dict__.pop(name, None)
        if table is not None and name in table:
            with suppress(ValidationError):
                part.__dict__[name] = _field_value(cls, name, table[name], context)
    return part


def _field_value(cls: type[Part], name: str, value: object, context: dict[str, Any]) -> object:
    """Return one field; of a table of parts, the entries that can be read."""
    alone = _alone(cls, name)
    try:
        return getattr(alone.model_validate({name: value}, context=context), name)
    except ValidationError:
        if get_origin(cls.model_fields[name].annotation) is not dict or not value:
            raise
        if not isinstance(value, Mapping):
            raise
    entries: dict[object, object] = {}
    for key, entry in value.items():
        with suppress(ValidationError):
            found = alone.model_validate({name: {key: entry}}, context=context)
            entries.update(getattr(found, name))
    return entries


@cache
def _alone(cls: type[Part], name: str) -> type[BaseModel]:
    """Return a model of one field, so that it can be read without its neighbours."""
    field = cls.model_fields[name]
    fields: dict[str, Any] = {name: (field.annotation, field)}
    return create_model(f"{cls.__name__}_{name}", __config__=cls.model_config, **fields)
