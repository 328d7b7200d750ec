"""How our serializers and fields read in the OpenAPI document: as strict as they are.

What a JSON Schema can say is said here, so that a client knows before it sends: unknown members are refused, hidden
characters are refused, a mass is sent in a unit of mass.  What it cannot say is a rule, and answered 422.
"""

from __future__ import annotations

import re
from typing import Any, Final

from drf_spectacular.extensions import OpenApiSerializerExtension, OpenApiSerializerFieldExtension
from drf_spectacular.openapi import AutoSchema

from records.api.parameters import HIDDEN, HIDDEN_IN_LINES, seen
from records.units import _ALIASES, UNITS

CODE: Final = r"^[A-Za-z0-9][A-Za-z0-9_.-]*(@[1-9][0-9]{0,3})?$"
#: What a regular expression of ECMA-262 takes as more than itself.
_SPECIAL: Final = re.compile(r"[.()\[\]{}|*+?^$\\]")
_ESCAPED: Final = r"\\\g<0>"
DATE: Final = "^(19|20)[0-9]{2}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])"
TIME: Final = r"([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9](\.[0-9]{1,6})?"
OFFSET: Final = "(Z|[+-]([01][0-9]|2[0-3]):[0-5][0-9])"
DIGITS: Final = r"^-?[0-9]{1,15}(\.[0-9]{1,12})?$"


class StrictSerializerSchema(OpenApiSerializerExtension):  # type: ignore[no-untyped-call]
    """A body that refuses members it does not know."""

    target_class = "records.api.strict.StrictSerializer"
    match_subclasses = True

    def map_serializer(self, auto_schema: AutoSchema, direction: Any) -> dict[str, Any]:
        schema: dict[str, Any] = auto_schema._map_serializer(self.target, direction, bypass_extensions=True)  # type: ignore[no-untyped-call]  # noqa: SLF001
        return {**schema, "additionalProperties": False} if direction == "request" else schema


class QuantitySchema(StrictSerializerSchema):  # type: ignore[no-untyped-call]
    """A quantity as sent: one component a dimension, with the units that measure it."""

    target_class = "records.api.fields.QuantitySerializer"
    match_subclasses = True
    priority = 1

    def get_name(self, auto_schema: AutoSchema, direction: Any) -> str:  # noqa: ARG002
        return f"{self.target.dimension.title().replace('_', '')}In"

    def get_identity(self, auto_schema: AutoSchema, direction: Any) -> str:  # noqa: ARG002
        return f"quantity of {self.target.dimension}"

    def map_serializer(self, auto_schema: AutoSchema, direction: Any) -> dict[str, Any]:
        schema = super().map_serializer(auto_schema, direction)
        words = _words_for(self.target.dimension)
        properties = dict(schema["properties"])
        properties["unit"] = {
            "type": "string",
            "pattern": f"^({'|'.join(re.sub(_SPECIAL, _ESCAPED, word) for word in words)})$",
            "description": f"UCUM code or a word that can mean one unit only: {', '.join(words)}.",
        }
        return {**schema, "properties": properties, "description": f"A {_said(self.target.dimension)} as sent."}


def _said(dimension: str) -> str:
    return {"acidity": "titratable acidity", "soluble_solids": "reading of soluble solids"}.get(dimension, dimension)


def _words_for(dimension: str) -> list[str]:
    codes = [code for code, unit in UNITS.items() if unit.dimension == dimension]
    return [*codes, *(word for word, code in _ALIASES.items() if code in codes)]


class TextSchema(OpenApiSerializerFieldExtension):  # type: ignore[no-untyped-call]
    """Text without hidden characters, and with one that can be seen where it may not be blank."""

    target_class = "records.api.strict.StrictCharField"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Any) -> dict[str, Any]:
        schema: dict[str, Any] = auto_schema._map_serializer_field(self.target, direction, bypass_extensions=True)  # type: ignore[no-untyped-call]  # noqa: SLF001
        hidden = HIDDEN_IN_LINES if self.target.multiline else HIDDEN
        return {**schema, "pattern": f"^[^{hidden}]*$" if self.target.allow_blank else seen(hidden)}


class CodeSchema(OpenApiSerializerFieldExtension):  # type: ignore[no-untyped-call]
    """A code of a catalogue: which codes there are is data, how they are written is not."""

    target_class = "records.api.fields.CatalogueField"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Any) -> dict[str, Any]:  # noqa: ARG002
        return {"type": "string", "maxLength": 60, "pattern": CODE}


class DecimalSchema(OpenApiSerializerFieldExtension):  # type: ignore[no-untyped-call]
    """A number, or the text of one where every digit counts."""

    target_class = "records.api.strict.StrictDecimalField"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Any) -> dict[str, Any]:
        schema: dict[str, Any] = auto_schema._map_serializer_field(self.target, direction, bypass_extensions=True)  # type: ignore[no-untyped-call]  # noqa: SLF001
        schema.pop("format", None)
        return {**schema, "type": ["number", "string"], "pattern": DIGITS}


class TimeSchema(OpenApiSerializerFieldExtension):  # type: ignore[no-untyped-call]
    """An instant of the years that the service keeps, with its offset and at most six decimals of a second."""

    target_class = "records.api.strict.AwareDateTimeField"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Any) -> dict[str, Any]:  # noqa: ARG002
        return {"type": "string", "format": "date-time", "pattern": f"{DATE}T{TIME}{OFFSET}$"}


class DaySchema(OpenApiSerializerFieldExtension):  # type: ignore[no-untyped-call]
    """A calendar date of the years that the service keeps."""

    target_class = "records.api.kind_fields.DayField"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Any) -> dict[str, Any]:  # noqa: ARG002
        return {"type": "string", "format": "date", "pattern": f"{DATE}$"}


class EachOnceSchema(OpenApiSerializerFieldExtension):  # type: ignore[no-untyped-call]
    """Words from a list, each once."""

    target_class = "records.api.kind_fields.WordsField"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Any) -> dict[str, Any]:
        schema: dict[str, Any] = auto_schema._map_serializer_field(self.target, direction, bypass_extensions=True)  # type: ignore[no-untyped-call]  # noqa: SLF001
        return {**schema, "type": "array", "uniqueItems": True}  # whether it may be null is added after this
