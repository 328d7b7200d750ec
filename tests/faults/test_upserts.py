"""Clients that write the same records in bulk at the same time, each in an order of its own."""

from __future__ import annotations

import json
import random
import uuid
from typing import Any

import pytest

from tests.faults.ground import Ground, make_ground
from tests.faults.hands import all_at_once
from tests.faults.phone import Phone

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]
CLIENTS, BATCHES, KEYS = 8, 20, 500
NDJSON = "application/x-ndjson"


def test_eight_clients_who_upsert_the_same_records_in_random_order_never_fail(service):
    """Every record is written by everybody; of 160 requests of 500 records none is refused and no row is doubled.

    Half of the requests write over what stands there, half keep it.
    """
    ground = make_ground(service.phone(), vines=KEYS)
    ids = [str(uuid.uuid4()) for _ in range(KEYS)]
    deadlocks = service.deadlocks()

    def write(client: int) -> list[Any]:
        phone, dice = service.phone(), random.Random(client)
        return [send_all(phone, ground, ids, dice, ("update", "ignore")[turn % 2]) for turn in range(BATCHES)]

    replies = [reply for each in all_at_once(CLIENTS, write) for reply in each]
    failures = [(reply.status, reply.content[:300]) for reply in replies if reply.status != 200]
    summaries = [reply.json()["summary"] for reply in replies if reply.status == 200]
    met = sum(summary["updated"] + summary["unchanged"] for summary in summaries)
    rows = service.ask("SELECT count(*), sum(version - 1) FROM dormant_record WHERE farm_id = %s", ground.farm)[0]
    kept = service.ask("SELECT count(*) FROM record_change WHERE farm_id = %s", ground.farm)[0][0]
    print(
        f"upserts: trials {len(replies)} x {KEYS}, fault hits {met} met another's row, failures {len(failures)}, "
        f"deadlocks in the database {service.deadlocks() - deadlocks}"
    )
    assert failures == []
    assert sum(summary["created"] for summary in summaries) == KEYS == rows[0]
    assert met == (CLIENTS * BATCHES - 1) * KEYS
    assert rows[1] == kept == sum(summary["updated"] for summary in summaries), "a version is missing in the history"


def send_all(phone: Phone, ground: Ground, ids: list[str], dice: random.Random, on_conflict: str) -> Any:
    path = f"{ground.url}/records?on_conflict={on_conflict}"
    return phone.send("POST", path, batch_of(ground, ids, dice), Content_Type=NDJSON)


def batch_of(ground: Ground, ids: list[str], dice: random.Random) -> bytes:
    """Give all records in a random order, each with a weight that is this batch's own."""
    lines = []
    for key, row_id in enumerate(ids):
        weighing = {**ground.weighing(key), "id": row_id, "kind": "dormant_record"}
        lines.append(json.dumps({**weighing, "pruning_weight": {"value": dice.randint(1, 900) / 100, "unit": "lb"}}))
    dice.shuffle(lines)
    return "\n".join(lines).encode()


def test_a_request_does_not_wait_for_another_one_by_the_same_key(service):
    """The row of the key is held, as by a request that notes its use and then stores for a long time."""
    service.ask("UPDATE api_key SET last_used_at = NULL")
    with service.opened() as other:
        other.execute("UPDATE api_key SET last_used_at = now()")
        assert service.phone().send("GET", "/me").status == 200
