"""Every field of every kind of record against every hostile value, each as one line of a bulk request.

Lines that are good are stored beside lines that are not: each is answered for in its place, and what was accepted is
shown as it was sent.
"""

from __future__ import annotations

import json
from collections import Counter
from typing import Any

import pytest
from django.db import connection, transaction

from records.kinds import KINDS, Kind
from tests.faults.corpus import VALUES
from tests.faults.operations import Operation, Path, operations, places
from tests.faults.readback import same
from tests.faults.test_hostile_fields import INSIDE, TOLD_FROM_ELSEWHERE, Ground, with_value

pytestmark = [pytest.mark.django_db, pytest.mark.slow, pytest.mark.timeout(1200)]
SHARES = 5
YEARS = range(1902, 2099)


@pytest.fixture
def ground(cast: Any) -> Ground:
    return Ground(cast)


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_no_line_breaks_the_service_or_its_neighbours_or_is_taken_for_another(kind: Kind, ground: Ground) -> None:
    operation = next(each for each in operations() if each.method == "post" and each.path.endswith(f"/{kind.path}"))
    cases = [(place, value) for n, place in enumerate(places(operation)) for value in VALUES[n % SHARES :: SHARES]]
    lines = [
        with_value(body_of(ground, operation, kind, turn), place, value) for turn, (place, value) in enumerate(cases)
    ]
    answer = ground.client.generic(
        "POST", f"/api/v1/farms/{ground.ids['farm']}/records", b"\n".join(lines), content_type="application/x-ndjson"
    )
    assert answer.status_code == 207, answer.content[:500]
    results = answer.json()["results"]
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
    told = Counter(result["status"] for result in results)
    failures = [
        (place, value[:60], wrong)
        for (place, value), result in zip(cases, results, strict=True)
        if (wrong := fault_of(ground, operation, result, place, value))
    ]
    print(
        f"lines of {kind.name}: trials {len(cases)}, fault hits {told['error']}, failures {len(failures)}, {dict(told)}"
    )
    assert [result["index"] for result in results] == list(range(len(cases)))
    assert not any(word in answer.content for word in INSIDE if word != b"<html")
    assert failures == []
    assert told["created"] > 0 and told["error"] > 0


def body_of(ground: Ground, operation: Operation, kind: Kind, turn: int) -> dict[str, Any]:
    """Give a good line; where a vine has one record a season, in a season and vine of its own."""
    body = {**ground.body(operation), "kind": kind.name}
    if kind.once:
        vine, year = divmod(turn, len(YEARS))
        body["vine"] = str(ground.vines[vine])
        body["observed_at"] = body["observed_at"].replace("2027", str(YEARS[year]))
    return body


def fault_of(ground: Ground, operation: Operation, result: dict[str, Any], place: Path, value: bytes) -> str | None:
    """Give what is wrong with the answer to one line, if anything is."""
    if result["status"] == "error":
        return None if result["error"]["code"] and result["error"]["detail"] else "refused without a word"
    if result["status"] != "created":
        return f"a new line is {result['status']}"
    if TOLD_FROM_ELSEWHERE.get(place) == value:
        return None
    sent, shown = json.loads(value.decode()), ground.client.get(f"{ground.address(operation)}/{result['id']}").json()
    for name in place:
        shown = shown.get(name, "(not shown)") if isinstance(shown, dict) else "(not shown)"
    return None if same(sent, shown) else f"accepted {sent!r} and shows {shown!r}"
