"""What goes out as JSON: numbers as numbers of at most 15 digits, instants in UTC, ids as text."""

from __future__ import annotations

import json
import uuid
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal

import pytest

from vineyard.api.renderers import OrjsonRenderer


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (Decimal("2.80"), "2.8"),
        (Decimal("48.000"), "48"),
        (Decimal("0.45359237"), "0.45359237"),
        (Decimal("1.270058636"), "1.270058636"),
        (Decimal(1) / Decimal(3), "0.333333333333333"),
        (Decimal("1E+3"), "1000"),
        (Decimal("-0.25"), "-0.25"),
        (Decimal("1E-12"), "1e-12"),
        (datetime(2027, 1, 16, 10, 2, tzinfo=timezone(timedelta(hours=-5))), '"2027-01-16T15:02:00Z"'),
        (datetime(2027, 1, 16, 10, 2, 0, 500_000, tzinfo=UTC), '"2027-01-16T10:02:00.500000Z"'),
        (date(2027, 1, 16), '"2027-01-16"'),
        (uuid.UUID(int=7), '"00000000-0000-0000-0000-000000000007"'),
        ("Château", '"Château"'),
        (float("nan"), "null"),
        (None, "null"),
    ],
)
def test_a_value_is_written_so_that_every_reader_reads_the_same(value, written):
    text = OrjsonRenderer().render({"value": value}).decode()
    assert text == f'{{"value":{written}}}'
    json.loads(text)


def test_nothing_is_no_body_and_bytes_are_json_already():
    assert OrjsonRenderer().render(None) == b""
    assert OrjsonRenderer().render(b'{"done":true}') == b'{"done":true}'
