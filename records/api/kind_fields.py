"""The serializers of a kind of record, made from its one description: what is sent, what is changed, what is shown."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import date
from functools import cache
from typing import Any, Final

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from records.api.fields import LengthOut, MassOut, QuantitySerializer, quantity_of
from records.api.strict import (
    AwareDateTimeField,
    StrictBooleanField,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
    StrictSerializer,
    StrictUUIDField,
    nearest,
)
from records.kinds import Kind, Place
from records.kinds.members import (
    STAGE_SAYS,
    STAGE_SCALES,
    Choice,
    Count,
    Day,
    Flag,
    Measured,
    Member,
    Number,
    Several,
    Stage,
    Text,
)
from records.models.recorded import Recorded

Field = serializers.Field[Any, Any, Any, Any]


class WordField(serializers.ChoiceField):
    """One word from a list."""

    default_error_messages = {"invalid_choice": "{input!r} is no word here.{hint}"}

    def __init__(self, words: tuple[str, ...], **kwargs: Any) -> None:
        self.words = words
        super().__init__(choices=words, **kwargs)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str) or data not in self.words:
            shown = str(data)[:80]
            self.fail("invalid_choice", input=shown, hint=nearest(shown, self.words))
        return data


class WordsField(serializers.ListField):
    """Words from a list, each once."""

    default_error_messages = {"repeated": "Send each word once."}

    def __init__(self, words: tuple[str, ...], **kwargs: Any) -> None:
        super().__init__(child=WordField(words), max_length=len(words), **kwargs)

    def to_internal_value(self, data: Any) -> list[Any]:
        found = super().to_internal_value(data)
        if len(set(found)) < len(found):
            self.fail("repeated")
        return found


class DayField(serializers.DateField):
    """A calendar date, YYYY-MM-DD."""

    default_error_messages = {
        "invalid": "Send a date such as 2027-01-16.",
        "range": "The year must lie between 1900 and 2100.",
    }

    def to_internal_value(self, value: Any) -> date:
        if not (isinstance(value, str) and re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", value)):
            self.fail("invalid")
        day: date = super().to_internal_value(value)
        if not 1900 <= day.year <= 2100:
            self.fail("range")
        return day


class StageSerializer(StrictSerializer):
    """A growth stage: the scale and its code there."""

    scale = WordField(tuple(STAGE_SCALES), help_text="The scale that the code is of.")
    code = StrictCharField(max_length=4, help_text=". ".join(STAGE_SAYS.values()) + ".")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if not re.fullmatch(STAGE_SCALES[attrs["scale"]], attrs["code"]):
            raise serializers.ValidationError({"code": [f"{STAGE_SAYS[attrs['scale']]}."]}, code="unknown_stage")
        return attrs


Options = dict[str, Any]


def _number_in(member: Number, options: Options) -> Field:
    digits = len(str(int(member.high))) + member.decimals
    bounds: Options = {"min_value": member.low, "max_value": member.high}
    return StrictDecimalField(max_digits=digits, decimal_places=member.decimals, **bounds, **options)


def _text_in(member: Text, options: Options) -> Field:
    blank = {**options, "allow_null": False, "allow_blank": True}
    return StrictCharField(max_length=member.longest, multiline=member.lines, **blank)


_SENT: Final[dict[type[Member], Callable[[Any, Options], Field]]] = {
    Count: lambda member, options: StrictIntegerField(min_value=member.low, max_value=member.high, **options),
    Number: _number_in,
    Measured: lambda member, options: QuantitySerializer(dimension=member.dimension, **options),
    Choice: lambda member, options: WordField(member.words, **options),
    Several: lambda member, options: WordsField(member.words, **options),
    Flag: lambda _, options: StrictBooleanField(**options),
    Day: lambda _, options: DayField(**options),
    Stage: lambda _, options: StageSerializer(**options),
    Text: _text_in,
}


def _field(member: Member, *, required: bool) -> Field:
    # A member that is required, or that has a default, is never empty.
    may_be_null = not member.required and getattr(member, "default", None) is None
    options = {"required": required, "help_text": member.says, "allow_null": may_be_null}
    return _SENT[type(member)](member, options)


_NOTE: Final = "Anything else, in the farm's words."
_SEASON: Final = "Harvest year. Needed only where the date does not say it."


_FIXED: Final = "{!r} of a stored record stays. If it is wrong, withdraw the record and store another under a new id."


def _class_name(kind: Kind) -> str:
    return "".join(part.capitalize() for part in kind.name.split("_"))


def _always() -> dict[str, Field]:
    return {
        "device": StrictCharField(max_length=80, required=False, allow_blank=True, help_text="As the app names it."),
        "note": StrictCharField(
            max_length=4000, required=False, allow_blank=True, multiline=True, help_text=_NOTE
        ),
    }  # fmt: skip


@cache
def sent_by(kind: Kind) -> type[StrictSerializer]:
    """Give the serializer of a new record of a kind."""
    about_a_vine = kind.place is Place.VINE
    vine = StrictUUIDField(
        source="vine_id", required=about_a_vine, allow_null=not about_a_vine, help_text="A vine of this farm."
    )
    fields: dict[str, Field] = {
        "id": StrictUUIDField(required=False, help_text="Made by the client, so that sending again is safe for ever."),
        "vine": vine,
        "observed_at": AwareDateTimeField(help_text="When it was seen, with the offset: 2027-01-16T10:02:00-05:00."),
        "season": StrictIntegerField(
            min_value=1900, max_value=2100, required=False, allow_null=True, help_text=_SEASON
        ),
    }  # fmt: skip
    if not about_a_vine:
        fields["block"] = StrictUUIDField(
            source="block_id", required=False, allow_null=True, help_text="A block of this farm; a vine brings its own."
        )
    fields |= {member.name: _field(member, required=member.required) for member in kind.members}
    return _serializer(f"{_class_name(kind)}In", f"A new {kind.title.lower()}.", fields | _always())


@cache
def changed_by(kind: Kind) -> type[StrictSerializer]:
    """Give the serializer of a change of a record, with its reason."""
    fields = {member.name: _field(member, required=False) for member in kind.members}
    reason = StrictCharField(
        max_length=400, required=False, allow_blank=True, help_text="Why; kept with the old version."
    )
    doc = f"What may be corrected or added on a {kind.title.lower()}."
    changed = _serializer(f"{_class_name(kind)}Patch", doc, fields | _always() | {"reason": reason})
    changed.fixed = {name: _FIXED.format(name) for name in {*SHOWN_BEFORE} & {*sent_by(kind)().fields}}
    return changed


def _serializer(name: str, doc: str, fields: Mapping[str, Field]) -> type[StrictSerializer]:
    return type(name, (StrictSerializer,), {"__doc__": doc, "__module__": __name__, **fields})


class SolubleSolidsOut(serializers.Serializer[Any]):
    """Soluble solids as they were sent, beside the exact degrees Brix."""

    value = serializers.DecimalField(max_digits=15, decimal_places=12, help_text="As sent.")
    unit = serializers.CharField(help_text="UCUM code, as sent.")
    brix = serializers.DecimalField(max_digits=30, decimal_places=24, help_text="The same in degrees Brix.")


class AcidityOut(serializers.Serializer[Any]):
    """A titratable acidity as it was sent, beside the exact grams a litre."""

    value = serializers.DecimalField(max_digits=15, decimal_places=12, help_text="As sent.")
    unit = serializers.CharField(help_text="UCUM code, as sent.")
    g_per_l = serializers.DecimalField(max_digits=30, decimal_places=24, help_text="The same in g/L.")


_QUANTITIES: Final[dict[str, type[serializers.Serializer[Any]]]] = {
    "mass": MassOut,
    "length": LengthOut,
    "soluble_solids": SolubleSolidsOut,
    "acidity": AcidityOut,
}


def _number_out(member: Number, options: Options) -> Field:
    digits = len(str(int(member.high))) + member.decimals
    return serializers.DecimalField(max_digits=digits, decimal_places=member.decimals, **options)


def _spread_out(member: Measured | Stage, options: Options) -> Field:
    shape = _QUANTITIES[member.dimension] if isinstance(member, Measured) else StageSerializer
    described = shape(allow_null=options["allow_null"], help_text=member.says)
    field: Field = extend_schema_field(described)(type("Spread", (_Spread,), {}))(member, read_only=True)
    return field


_SHOWN: Final[dict[type[Member], Callable[[Any, Options], Field]]] = {
    Count: lambda _, options: serializers.IntegerField(**options),
    Number: _number_out,
    Measured: _spread_out,
    Choice: lambda member, options: WordField(member.words, **options),
    Several: lambda member, options: WordsField(member.words, **options),
    Flag: lambda _, options: serializers.BooleanField(**options),
    Day: lambda _, options: serializers.DateField(**options),
    Stage: _spread_out,
    Text: lambda _, options: serializers.CharField(**{**options, "allow_null": False}),
}


def _shown_field(member: Member) -> Field:
    may_be_null = not member.required and getattr(member, "default", None) is None
    return _SHOWN[type(member)](member, {"read_only": True, "help_text": member.says, "allow_null": may_be_null})


class _Spread(serializers.Field[Any, Any, Any, Any]):
    """A member that stands in several columns."""

    def __init__(self, member: Member, **kwargs: Any) -> None:
        super().__init__(source="*", **kwargs)
        self.member = member

    def to_representation(self, value: Recorded) -> Any:
        return shown_member(value, self.member)


def shown_member(row: Any, member: Member) -> Any:
    """Give a member of a row that stands in several columns, or nothing where it was not measured."""
    if isinstance(member, Measured):
        return quantity_of(row, member.name, member.dimension)
    scale, code = (getattr(row, column) for column in member.columns)
    return None if scale is None else {"scale": scale, "code": code}


#: Members that every record shows after its own.
SHOWN_AFTER: Final = (
    "device", "note", "recorded_by", "app_name", "source", "version", "received_at", "changed_at", "withdrawn_at",
)  # fmt: skip
SHOWN_BEFORE: Final = ("id", "block", "vine", "season", "observed_at", "observed_offset_minutes")


@cache
def shown_of(kind: Kind) -> type[serializers.ModelSerializer[Any]]:
    """Give the serializer of a record as it stands."""
    from records.services.recording import MODELS  # noqa: PLC0415 - services need no serializers

    members = {member.name: _shown_field(member) for member in kind.members}
    meta = type("Meta", (), {"model": MODELS[kind.name], "fields": [*SHOWN_BEFORE, *members, *SHOWN_AFTER]})
    doc = f"A {kind.title.lower()} as it stands."
    parts = {"__doc__": doc, "__module__": __name__, "Meta": meta, **members}
    return type(f"{_class_name(kind)}Out", (serializers.ModelSerializer,), parts)
