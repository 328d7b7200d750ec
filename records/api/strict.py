"""Serializers and fields that refuse what they do not understand, and say the way out.

Django REST framework turns a number into text, drops unknown members and guesses a time zone.  A phone that
misspells ``pruning_weight`` must hear of it, not lose the weight.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from decimal import Decimal, InvalidOperation
from typing import Any, ClassVar, Final

from django.core.exceptions import ValidationError as DjangoValidationError
from django.core.validators import MaxLengthValidator, MinLengthValidator, validate_email
from django.utils.dateparse import parse_datetime
from rest_framework import serializers
from rest_framework.request import Request

#: Control characters, bidirectional overrides and lone surrogates: nothing that a person typed on purpose.
_HIDDEN: Final = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]|[\n\t]")
_PAGING: Final = ("limit", "cursor", "count")
AnyField = serializers.Field[Any, Any, Any, Any]
#: RFC 3339 with seconds; the offset is asked for by name when it is missing.
_DATE_TIME: Final = re.compile(
    r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d(\.(?P<fraction>\d+))?(?P<offset>Z|[+-]\d\d:[0-5]\d)?", re.ASCII
)


def nearest(name: str, known: Iterable[str]) -> str:
    """Give a hint that names the nearest known name, or the known names where they are few."""
    names = sorted(known)
    near = difflib.get_close_matches(name[:80], names, n=1, cutoff=0.6)
    if near:
        return f" Did you mean {near[0]!r}?"
    return f" Known are: {', '.join(names)}." if names and len(names) <= 30 else ""


def speak_plainly(field: AnyField) -> None:
    """Let a field of few words name them when it refuses one, and a list count as people do.

    Of what was sent, no more than the beginning is given back.
    """
    if isinstance(field, serializers.ListField):
        for validator in field.validators:
            if isinstance(validator, MinLengthValidator | MaxLengthValidator):
                bound = "fewer" if isinstance(validator, MaxLengthValidator) else "more"
                validator.message = f"Send {validator.limit_value} of them or {bound}."
        field = field.child
    unsaid = serializers.ChoiceField.default_error_messages["invalid_choice"]
    if isinstance(field, serializers.ChoiceField) and field.error_messages["invalid_choice"] == unsaid:
        known = ", ".join(str(choice) for choice in field.choices)
        field.error_messages["invalid_choice"] = f"{{input!r:.80}} is no word here. Known are: {known}."


class StrictSerializer(serializers.Serializer[Any]):
    """A serializer that refuses members it does not know."""

    default_error_messages = {"invalid": "Send a JSON object here, with members in braces."}
    #: What to do instead, about members of the same thing that are not taken here.
    fixed: ClassVar[Mapping[str, str]] = {}

    def get_fields(self) -> dict[str, Any]:
        fields: dict[str, Any] = super().get_fields()
        for field in fields.values():
            speak_plainly(field)
        return fields

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, Mapping):
            known = {name for name, field in self.fields.items() if not field.read_only}
            unknown = [str(name) for name in data if name not in known]
            if unknown:
                raise serializers.ValidationError(
                    {
                        name[:80]: [
                            serializers.ErrorDetail(
                                self.fixed.get(name) or f"{name[:80]!r} is no member here.{nearest(name, known)}",
                                "unknown_member",
                            )
                        ]
                        for name in unknown[:20]
                    }
                )
        return super().to_internal_value(data)


class StrictCharField(serializers.CharField):
    """Text as people type it: no numbers, no hidden characters; composed to NFC and trimmed."""

    default_error_messages = {
        "invalid": "Send text in quotation marks.",
        "hidden": "The text holds a character that cannot be seen or typed ({character}). Remove it.",
    }

    def __init__(self, *, multiline: bool = False, **kwargs: Any) -> None:
        self.multiline = multiline
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            self.fail("invalid")
        for hidden in _HIDDEN.finditer(data):
            if not (self.multiline and hidden[0] in "\n\t"):
                self.fail("hidden", character=f"U+{ord(hidden[0]):04X}")
        return super().to_internal_value(unicodedata.normalize("NFC", data))


class StrictEmailField(StrictCharField):
    """An e-mail address as people type it."""

    default_error_messages = {"no_address": "Send an e-mail address, such as mira.osei@harrow-vale.example."}

    def to_internal_value(self, data: Any) -> str:
        text = super().to_internal_value(data)
        try:
            validate_email(text)
        except DjangoValidationError:
            self.fail("no_address")
        return text


class StrictIntegerField(serializers.IntegerField):
    """A whole number written as a number; in a query, as its digits."""

    default_error_messages = {"invalid": "Send a whole number, such as 48."}

    def to_internal_value(self, data: Any) -> int:
        if isinstance(data, str) and re.fullmatch(r"-?[0-9]{1,15}", data) and getattr(self.root, "of_a_query", False):
            data = int(data)
        if isinstance(data, Decimal) and abs(data) < 10**15 and data == data.to_integral_value():
            data = int(data)
        if isinstance(data, bool) or not isinstance(data, int) or abs(data) >= 10**15:
            self.fail("invalid")
        return data


class StrictBooleanField(serializers.BooleanField):
    """True or false and nothing that looks like it; in a query, the words."""

    default_error_messages = {"invalid": "Send true or false."}

    def to_internal_value(self, data: Any) -> bool:
        if getattr(self.root, "of_a_query", False):
            data = {"true": True, "false": False}.get(str(data), data)
        if not isinstance(data, bool):
            self.fail("invalid")
        return data


class StrictUUIDField(serializers.UUIDField):
    """An id as text; a number is no id."""

    default_error_messages = {"invalid": "Send an id such as 01991b5e-0000-7000-8000-0000000d0001."}

    def to_internal_value(self, data: Any) -> Any:
        if not (isinstance(data, str) and re.fullmatch(r"[0-9A-Fa-f]{8}(-[0-9A-Fa-f]{4}){3}-[0-9A-Fa-f]{12}", data)):
            self.fail("invalid", value=data)
        return super().to_internal_value(data)


class StrictDecimalField(serializers.DecimalField):
    """A number as a JSON number, or as text where every digit counts."""

    default_error_messages = {
        "invalid": "Send a number, such as 2.8.",
        "out_of_range": "Send a number from {low} to {high}.",
    }

    def validate_empty_values(self, data: Any) -> tuple[bool, Any]:
        if isinstance(data, str):  # the class above takes an empty text for a null
            return False, data
        return super().validate_empty_values(data)

    def to_internal_value(self, data: Any) -> Decimal:
        if isinstance(data, bool) or not isinstance(data, int | str | Decimal | float):
            self.fail("invalid")
        if isinstance(data, str) and not re.fullmatch(r"-?[0-9]{1,20}(\.[0-9]{1,20})?", data):
            self.fail("invalid")
        try:
            number = Decimal(super().to_internal_value(data))
        except InvalidOperation:
            self.fail("invalid")
        if isinstance(data, str):
            self._refuse_beyond_bounds(number)
        return number

    def _refuse_beyond_bounds(self, number: Decimal) -> None:
        """Refuse by rule what stands in a text: a schema bounds numbers only."""
        low = Decimal("-Infinity") if self.min_value is None else Decimal(str(self.min_value))
        high = Decimal("Infinity") if self.max_value is None else Decimal(str(self.max_value))
        if not low <= number <= high:
            self.fail("out_of_range", low=low, high=high)


class AwareDateTimeField(serializers.DateTimeField):
    """An instant by RFC 3339 with its offset, which is kept; answered in UTC."""

    default_error_messages = {
        "invalid": "Send a date and time by RFC 3339, such as 2027-01-16T10:02:00-05:00.",
        "offset": "The offset from UTC is missing. Send it, such as 2027-01-16T10:02:00-05:00.",
        "fraction": "A second has at most six decimals here. Round the time.",
        "range": "The year must lie between 1900 and 2100.",
    }

    def to_internal_value(self, value: Any) -> datetime:
        written = value.upper() if isinstance(value, str) and len(value) <= 60 else ""
        shape = _DATE_TIME.fullmatch(written)
        if shape is None:
            self.fail("invalid")
        if len(shape["fraction"] or "") > 6:
            self.fail("fraction")
        if shape["offset"] is None:
            self.fail("offset")
        try:
            parsed = parse_datetime(written)
            year = parsed.astimezone(UTC).year if parsed else 0
        except (ValueError, OverflowError):
            parsed, year = None, 0
        if parsed is None:
            self.fail("invalid")
        if not 1900 <= year <= 2100:
            self.fail("range")
        return parsed


class StrictQuery:
    """The query of an address: known parameters only, each once."""

    @staticmethod
    def of(request: Request, *, paged: bool = False, **fields: serializers.Field[Any, Any, Any, Any]) -> dict[str, Any]:
        """Give the parameters that were sent, checked by their fields; paging is read by the paginator."""
        known = {*fields, *(_PAGING if paged else ())}
        faults: dict[str, list[serializers.ErrorDetail]] = {}
        for name, values in request.query_params.lists():
            if name not in known:
                sentence = f"{name[:80]!r} is no parameter here.{nearest(name, known)}"
                faults[name[:80]] = [serializers.ErrorDetail(sentence, "unknown_parameter")]
            elif len(values) > 1:
                faults[name] = [serializers.ErrorDetail("Send this parameter once.", "repeated")]
        if faults:
            raise InvalidQuery(faults)
        sent = {name: request.query_params[name] for name in fields if name in request.query_params}
        return _checked(fields, sent)


class InvalidQuery(serializers.ValidationError):
    """What is wrong stands in the address, not in the body."""


def _checked(fields: Mapping[str, serializers.Field[Any, Any, Any, Any]], sent: Mapping[str, str]) -> dict[str, Any]:
    form = serializers.Serializer[Any](data=dict(sent))
    form.of_a_query = True  # type: ignore[attr-defined]
    for name, field in fields.items():
        form.fields[name] = field
        speak_plainly(field)
        field.required = field.required and name in sent
    if not form.is_valid():
        raise InvalidQuery(form.errors)
    return dict(form.validated_data)
