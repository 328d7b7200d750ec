"""Fields and queries take what they understand, and name the way out of what they do not."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.test import APIRequestFactory

from records.api.strict import (
    AwareDateTimeField,
    InvalidQuery,
    StrictBooleanField,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
    StrictQuery,
    StrictSerializer,
)


def code_of(field: Any, value: Any) -> str:
    with pytest.raises(serializers.ValidationError) as refused:
        field.run_validation(value)
    codes: Any = refused.value.get_codes()
    return str(codes[0])


@pytest.mark.parametrize(("value", "code"), [
    (7, "invalid"), (True, "invalid"), (["a"], "invalid"), (None, "null"), ("", "blank"), ("  ", "blank"),
    ("two\nlines", "hidden"), ("a\tb", "hidden"), ("a\u202eb", "hidden"), ("x" * 21, "max_length"),
])  # fmt: skip
def test_a_text_is_text_of_one_line(value, code):
    assert code_of(StrictCharField(max_length=20), value) == code


def test_a_text_is_trimmed_and_composed_and_a_note_may_have_lines():
    assert StrictCharField().run_validation(" Cha\u0302teau ") == "Château"
    assert StrictCharField(multiline=True).run_validation("two\nlines\tand tab") == "two\nlines\tand tab"


@pytest.mark.parametrize("value", [True, "48", 48.5, Decimal("48.5"), 10**15, [], {}, "٤٨"])
def test_a_count_is_a_whole_number_and_nothing_that_looks_like_it(value):
    assert code_of(StrictIntegerField(), value) == "invalid"


def test_a_whole_number_may_be_written_with_a_point():
    """JSON Schema (2020-12, section 6.1.1) counts 48.0 as an integer."""
    assert StrictIntegerField().run_validation(Decimal("48.0")) == 48


@pytest.mark.parametrize("value", [0, 1, "true", "yes", None])
def test_true_and_false_are_the_only_two(value):
    assert code_of(StrictBooleanField(), value) in {"invalid", "null"}


@pytest.mark.parametrize("value", [True, "1,5", "½", "1e3", "nan", "", " 1", "２.８", "1.", [], "1" * 30])
def test_a_number_is_digits_with_a_point(value):
    assert code_of(StrictDecimalField(max_digits=9, decimal_places=3), value) in {
        "invalid",
        "max_digits",
        "max_whole_digits",
    }


def test_a_number_may_be_text_where_every_digit_counts():
    assert StrictDecimalField(max_digits=9, decimal_places=3).run_validation("2.800") == Decimal("2.800")


@pytest.mark.parametrize(
    ("sent", "hours"),
    [
        ("2027-01-16T10:02:00-05:00", -5),
        ("2027-01-16t10:02:00z", 0),
        ("2027-01-16T10:02:00.123456+14:00", 14),
        ("2027-01-16 10:02:00+00:00", 0),
    ],
)
def test_an_instant_keeps_the_offset_it_was_sent_with_and_is_answered_in_utc(sent, hours):
    """RFC 3339, section 5.6: T and Z may be lower case, and a space may stand for T."""
    taken = AwareDateTimeField().run_validation(sent)
    assert taken.utcoffset() == timedelta(hours=hours)
    shown = AwareDateTimeField().to_representation(taken)
    assert shown.endswith("Z")
    assert datetime.fromisoformat(shown) == taken.astimezone(UTC)


@pytest.mark.parametrize(("sent", "code"), [
    ("2027-01-16T10:02:00", "offset"), ("2027-01-16", "invalid"), ("2027-02-30T10:00:00Z", "invalid"),
    ("2027-01-16T10:02Z", "invalid"), ("2027-01-16T10:02:00+05:75", "invalid"), ("2027-01-16T10:02:00+24:00", "invalid"),
    ("2027-01-16T10:02:00.1234567Z", "fraction"), ("2027-01-16T23:59:60Z", "invalid"), (1799999999, "invalid"),
    ("1899-12-31T23:59:59Z", "range"), ("1900-01-01T00:00:00+05:00", "range"), ("2101-01-01T00:00:00Z", "range"),
    ("0000-01-01T00:00:00Z", "invalid"), ("9999-12-31T23:59:59-01:00", "invalid"), ("２０27-01-16T10:02:00Z", "invalid"),
    ("2027-01-16T10:02:00Z\n", "invalid"), ("2027-01-16T10:02:00." + "1" * 1000 + "Z", "invalid"),
])  # fmt: skip
def test_a_time_that_is_not_one_instant_is_refused(sent, code):
    assert code_of(AwareDateTimeField(), sent) == code


class Weighing(StrictSerializer):
    weight = StrictDecimalField(max_digits=9, decimal_places=3)
    received_at = serializers.DateTimeField(read_only=True)


@pytest.mark.parametrize(
    ("member", "says"),
    [
        ("wieght", "'wieght' is no member here. Did you mean 'weight'?"),
        ("received_at", "'received_at' is no member here. Known are: weight."),
        ("x" * 2_000_000, "is no member here."),
    ],
)
def test_a_member_that_is_not_known_or_not_the_callers_is_named_with_the_nearest(member, says):
    sent = Weighing(data={"weight": 2.8, member: 1})
    assert not sent.is_valid()
    (errors,) = sent.errors.values()
    assert says in errors[0]
    assert len(errors[0]) < 200


def query(text: str, **fields: Any) -> dict[str, Any]:
    return StrictQuery.of(Request(APIRequestFactory().get(f"/?{text}")), paged=True, **fields)


@pytest.mark.parametrize(("text", "parameter", "code"), [
    ("seasn=2027", "seasn", "unknown_parameter"), ("season=2027&season=2028", "season", "repeated"),
    ("season=later", "season", "invalid"), ("season=2027.0", "season", "invalid"), ("season=", "season", "invalid"),
    ("limit=1&limit=2", "limit", "repeated"), ("done=1", "done", "invalid"), ("Season=2027", "Season", "unknown_parameter"),
])  # fmt: skip
def test_a_query_that_is_not_understood_is_refused_and_named(text, parameter, code):
    with pytest.raises(InvalidQuery) as refused:
        query(text, season=StrictIntegerField(), done=StrictBooleanField())
    assert refused.value.get_codes() == {parameter: [code]}


def test_a_query_is_checked_into_its_types_and_what_was_not_sent_is_absent():
    asked = query("season=2027&limit=5", season=StrictIntegerField(), done=StrictBooleanField())
    assert asked == {"season": 2027}
