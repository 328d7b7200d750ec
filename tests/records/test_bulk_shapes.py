"""The quick way to read a line gives what the careful way gives, or leaves the line to it."""

from __future__ import annotations

import json
import uuid
from datetime import UTC, datetime
from decimal import Decimal
from types import SimpleNamespace
from typing import Any, cast

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from records.api.bulk_bodies import Documents
from records.api.kind_examples import NEW
from records.bulk.reading import Reader
from records.bulk.rows import columns_of
from records.bulk.shapes import Ground, shape_of
from records.kinds import KINDS
from records.models import Farm
from records.services.recording import season_of_record

FARM = Farm(id=uuid.uuid4(), hemisphere="north", time_zone="America/New_York")
VINE, BLOCK = "01991b5e-0000-7000-8000-00000000b1e7", "01991b5e-0000-7000-8000-0000000b10c1"
LINES = [
    {"kind": name, **{key: value for key, value in NEW[name].items() if key != "block"}, "vine": VINE} for name in KINDS
]


def ground() -> Ground:
    def season(when, stated, kind):
        return season_of_record(FARM, kind, {"observed_at": when, "season": stated})

    return Ground({VINE.encode(): BLOCK.encode()}, set(), season, {})


def carefully(line: bytes) -> tuple[bytes, bytes] | None:
    reader = Reader(cast(Any, SimpleNamespace(farm=FARM)), Documents(), ground())
    batches = reader.read([(0, line)])
    return (batches[0].ids[0], batches[0].texts[0]) if batches else None


def quickly(line: bytes, like: dict[str, Any]) -> tuple[bytes, bytes] | None:
    """Read a line by the shape that another one taught."""
    kind = KINDS[like["kind"]]
    shape = shape_of(Documents().document(json.dumps(like).encode()), kind, ground())
    return shape.read(line) if shape else None


def meaning(kind: Any, text: bytes) -> list[Any]:
    """Give the columns as what they mean: numbers as numbers, instants as instants."""
    return [_meant(name, value) for name, value in zip(columns_of(kind), text.split(b"\t"), strict=True)]


def _meant(name: str, value: bytes) -> Any:
    if name == "observed_at":
        return datetime.fromisoformat(value.decode().replace("Z", "+00:00")).astimezone(UTC)
    try:
        return Decimal(value.decode())
    except ArithmeticError:
        return value


quantities = st.fixed_dictionaries({
    "value": st.one_of(st.integers(0, 60), st.floats(0, 60).map(lambda x: round(x, 3)), st.sampled_from(["2.8", -1, 1e-7, 0, True, None])),
    "unit": st.sampled_from(["[lb_av]", "lb", "kg", "g", "ton", "m", "LB", "[oz_av]", ""]),
})  # fmt: skip
weighings = st.fixed_dictionaries(
    {
        "kind": st.just("dormant_record"),
        "id": st.uuids().map(str),
        "vine": st.sampled_from([VINE, VINE, VINE, str(uuid.uuid4())]),
        "observed_at": st.sampled_from([
            "2027-01-16T10:02:00-05:00", "2027-01-16T10:02:00Z", "2026-11-01T00:30:00+09:00", "2027-02-30T10:02:00-05:00",
            "2027-01-16T24:02:00Z", "2027-01-16T10:02:60Z", "2027-01-16T10:02:00.1234567Z", "2027-01-16T10:02:00",
            "2026-10-31T23:59:59-04:00", "2027-07-01T03:59:59Z", "2027-07-01T04:00:00Z", "2027-01-16T10:02:00+15:30",
        ]),
        "pruning_weight": st.one_of(st.none(), quantities),
        "nodes_retained": st.one_of(st.none(), st.integers(-1, 2001), st.just(1.5), st.just("48"), st.just(48.0)),
        "scale": st.sampled_from(["spring", "digital", "balance", None]),
        "pruner": st.sampled_from(["TR", "", " TR ", "Zoë", 'a"b', "a\\b", "x" * 61, None, "a\tb"]),
    }
)  # fmt: skip


@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(sent=weighings)
@example(sent={"kind": "dormant_record", "id": str(uuid.uuid4()), "vine": VINE, "observed_at": "2027-01-16T10:02:00-05:00",
               "pruning_weight": {"value": 0, "unit": "kg"}, "nodes_retained": 0, "scale": "spring", "pruner": ""})  # fmt: skip
def test_what_the_quick_way_accepts_the_careful_way_reads_alike(sent):
    like = {**sent, "pruning_weight": {"value": 1, "unit": "kg"}, "nodes_retained": 1, "scale": "spring", "pruner": "A",
            "vine": VINE, "observed_at": "2027-01-16T10:02:00-05:00"}  # fmt: skip
    line = json.dumps(sent).encode()
    quick = quickly(line, like)
    if quick is not None:
        careful = carefully(line)
        assert careful is not None
        assert quick[0] == careful[0]
        assert meaning(KINDS["dormant_record"], quick[1]) == meaning(KINDS["dormant_record"], careful[1])


@pytest.mark.parametrize("sent", LINES, ids=[line["kind"] for line in LINES])
def test_the_example_of_every_kind_is_read_alike_both_ways(sent):
    kind, line = KINDS[sent["kind"]], json.dumps(sent).encode()
    quick, careful = quickly(line, sent), carefully(line)
    assert careful is not None
    if sent["kind"] != "cordon_inspection":  # its list of signs has no quick way
        assert quick is not None
        assert meaning(kind, quick[1]) == meaning(kind, careful[1])


TAMPERED = [
    lambda line: line.replace(b'"kind"', b'"kind": "shoot_count", "kind"'),
    lambda line: line.replace(b'"pruner": "TR"', b'"pruner": "TR", "pruner": "TS"'),
    lambda line: line.replace(b'"pruner": "TR"', b'"pruner": "T\\u0052"'),
    lambda line: line.replace(b"2.8", b"02.8"),
    lambda line: line.replace(b"2.8", b"+2.8"),
    lambda line: line.replace(b"2.8", b"NaN"),
    lambda line: line.replace(b"2.8", "２.８".encode()),
    lambda line: line + b"{}",
    lambda line: b"\xef\xbb\xbf" + line,
    lambda line: line.replace(b"TR", b"\xff"),
    lambda line: line.replace(b"TR", b"\x00"),
    lambda line: line.replace(b"15,", b"15, "),
    lambda line: line.replace(VINE.encode(), VINE.upper().encode()),
]


@pytest.mark.parametrize("tamper", TAMPERED)
def test_a_line_that_is_not_plainly_good_is_left_to_the_careful_way(tamper):
    line = json.dumps(LINES[0]).encode()
    assert quickly(line, LINES[0]) is not None
    assert tamper(line) != line
    assert quickly(tamper(line), LINES[0]) is None


def test_the_season_of_a_line_at_the_edge_of_a_month_is_not_taken_from_its_neighbour():
    """00:30 on 1 November in Tokyo is 31 October on the farm, which no winter has; half a day later it is winter."""
    early, late = (
        {**LINES[0], "observed_at": when} for when in ("2026-11-01T00:30:00+09:00", "2026-11-01T14:30:00+09:00")
    )
    kind = KINDS["dormant_record"]
    shape = shape_of(LINES[0], kind, ground())
    assert shape is not None
    assert shape.read(json.dumps(late).encode()) is not None
    assert shape.read(json.dumps(early).encode()) is None


def test_many_lines_of_one_shape_are_read_together_as_each_by_itself():
    weighing = next(line for line in LINES if line["kind"] == "dormant_record")
    lines = [
        json.dumps({**weighing, "id": str(uuid.uuid4()), "nodes_retained": None if number % 3 else number % 7}).encode()
        for number in range(60)
    ]
    farm: Any = SimpleNamespace(farm=FARM)
    together = Reader(farm, Documents(), ground()).read(list(enumerate(lines)))
    assert len(together) == 1 and together[0].numbers == list(range(60))
    kind = together[0].kind
    for line, row_id, text in zip(lines, together[0].ids, together[0].texts, strict=True):
        alone = carefully(line)
        assert alone is not None
        assert (row_id, meaning(kind, text)) == (alone[0], meaning(kind, alone[1]))


def test_one_line_among_many_that_differs_is_told_and_the_others_are_read():
    weighing = next(line for line in LINES if line["kind"] == "dormant_record")
    rows = [{**weighing, "id": str(uuid.uuid4())} for _ in range(60)]
    rows[30]["nodes_retained"] = -1
    farm: Any = SimpleNamespace(farm=FARM)
    reader = Reader(farm, Documents(), ground())
    batches = reader.read([(number, json.dumps(row).encode()) for number, row in enumerate(rows)])
    assert list(reader.wrong) == [30]
    assert batches[0].numbers == [number for number in range(60) if number != 30]
