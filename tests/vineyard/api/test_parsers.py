"""JSON is read in one way or refused at its place: no member lost, no digit lost, nothing hidden in a text."""

from __future__ import annotations

import contextlib
import io
import json
import resource
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import RequestDataTooBig
from hypothesis import given
from hypothesis import strategies as st

from records.api.documents import DEEPEST, MalformedJSON, UnfitValues, document_of
from vineyard.api.parsers import StrictJSONParser


def faults(text: str) -> list[tuple[tuple[str | int, ...], str]]:
    with pytest.raises(UnfitValues) as refused:
        document_of(text.encode())
    return [(fault.path, fault.code) for fault in refused.value.faults]


@pytest.mark.parametrize(
    ("text", "path", "code"),
    [
        ('{"a": 1, "a": 2}', ("a",), "duplicate_member"),
        ('{"rows": [{"b": 1}, {"b": 1, "b": {}}]}', ("rows", 1, "b"), "duplicate_member"),
        ('{"a": NaN}', ("a",), "not_a_number"),
        ('{"a": [0, -Infinity]}', ("a", 1), "not_a_number"),
        ('{"a": 1e400}', ("a",), "out_of_range"),
        ('{"a": 1e-400}', ("a",), "out_of_range"),
        ('{"a": 0.123456789012345678}', ("a",), "too_many_digits"),
        ('{"a": ' + "9" * 31 + "}", ("a",), "too_many_digits"),
        ('{"a": ' + "9" * 5000 + "}", ("a",), "too_many_digits"),
        ('{"a": "x\\u0000"}', ("a",), "hidden"),
        ('["\\ud800"]', (0,), "hidden"),
        ('{"a": {"b": "\\u202e"}}', ("a", "b"), "hidden"),
        ('{"a": "\\u2066"}', ("a",), "hidden"),
        ('{"a": "\\u0085"}', ("a",), "hidden"),
        ('{"a": "\\u001b"}', ("a",), "hidden"),
        ('{"a": {"b\\u0000": 1}}', ("a",), "hidden"),
        ('{"a\\udfff": "\\u0000"}', (), "hidden"),
        ('"\\u0007"', (), "hidden"),
        ("NaN", (), "not_a_number"),
    ],
)
def test_a_value_that_no_member_may_hold_is_named_by_its_place(text, path, code):
    assert faults(text) == [(path, code)]


def test_all_of_them_are_named_at_once():
    assert len(faults('{"a": NaN, "b": ["\\u0000", 1e999], "c": 1, "c": 2}')) == 4


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (b"", "empty"),
        (b" \n\t", "empty"),
        (b"\xef\xbb\xbf{}", "byte order mark"),
        (b'{"a": "\xe2"}', "byte 7"),
        (b'{"a": 1} {}', "Line 1, column 10"),
        (b'{"a": 1,\n "b" 2}', "Line 2, column 6"),
        (b'{"a": 1,}', "Line 1"),
        (b"{'a': 1}", "Line 1, column 2"),
        (b'{"a": 01}', "Line 1, column 8"),
        (b'{"a": .5}', "Line 1, column 7"),
        (b'{"a": "\x01"}', "Line 1, column 8"),
        ('{"a": 1}'.encode("utf-16"), "not UTF-8"),
        (b"[" * (DEEPEST + 1) + b"]" * (DEEPEST + 1), "32 levels"),
        (b'{"a":' * 100_000 + b"1" + b"}" * 100_000, "32 levels"),
        (b"[" * 100_000, "32 levels"),
    ],
)
def test_what_is_not_one_json_document_is_said_with_its_line_or_byte(body, says):
    with pytest.raises(MalformedJSON, match=says):
        document_of(body)


def test_the_deepest_that_is_taken_and_brackets_in_a_text_do_not_count():
    nested = b"[" * DEEPEST + b"]" * DEEPEST
    assert json.dumps(document_of(nested)) == nested.decode()
    assert document_of(b'["' + b"[{" * 100 + b'\\"[["]') == ["[{" * 100 + '"[[']


def test_numbers_keep_their_digits():
    taken = document_of(b'{"weight": 2.80, "count": 48, "tiny": 1E-9, "minus": -0.25, "most": 1.2345678901234567}')
    assert taken == {"weight": Decimal("2.80"), "count": 48, "tiny": Decimal("1E-9"), "minus": Decimal("-0.25"),
                     "most": Decimal("1.2345678901234567")}  # fmt: skip
    assert str(taken["weight"]) == "2.80"
    assert type(taken["count"]) is int


@pytest.mark.parametrize(
    "text", ["Château – 葡萄 🍇", "two\nlines\tand a tab", "\u200fشرق", 'quotes " and \\ and /', "😀" * 9]
)
def test_text_that_people_type_is_taken_as_it_is(text):
    assert document_of(json.dumps({"note": text}).encode()) == {"note": text}
    assert document_of(json.dumps({"note": text}, ensure_ascii=False).encode()) == {"note": text}


SAFE_TEXT = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cf", "Cs")), max_size=20)
DOCUMENTS = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**15), 10**15) | SAFE_TEXT,
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(SAFE_TEXT, inner, max_size=5),
    max_leaves=30,
)


@given(DOCUMENTS)
def test_every_clear_document_is_read_as_any_reader_reads_it(document: Any):
    assert document_of(json.dumps(document).encode()) == document


@given(st.binary(max_size=200))
def test_no_bytes_whatever_do_more_than_be_refused(body: bytes):
    with contextlib.suppress(MalformedJSON, UnfitValues):
        document_of(body)


def test_a_body_over_the_limit_is_refused_although_its_length_was_not_announced(settings):
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 100
    with pytest.raises(RequestDataTooBig):
        StrictJSONParser().parse(io.BytesIO(b"[" + b" " * 100 + b"]"))
    assert StrictJSONParser().parse(io.BytesIO(b"[" + b" " * 98 + b"]")) == []


def test_a_long_text_costs_memory_like_its_own_size():
    """One text of the largest size; a regular expression that kept its way back took 280 MB for it."""
    body = b'{"note": "' + b"x" * 2_400_000 + b'"}'
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    document_of(body)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 50_000  # KiB
