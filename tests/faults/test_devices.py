"""Twenty phones come back from the field: in whatever order they are heard, the same stands on record afterwards.

The model.  Each of twenty devices made 500 operations while offline: it created records under ids of its own, in
places of its own; changed some of them, some twice, each change on the version that it read; corrected a few alone,
and withdrew a few.  Its clock is wrong by up to 24 hours, and what it says of the time is kept as it says it.

The network.  A device sends in an order drawn anew each time; only what builds on a version waits until that version
was acknowledged, as it needs the version to build on.  Replies are lost, one in five, and the request is sent until one
comes.  Three operations in ten are sent once more, any time after they were acknowledged.

So the outcome follows from the operations alone: each record stands once, says what its last change said, has as many
versions as it had operations, and is withdrawn if it was.  An operation is acknowledged with the version that it makes,
also when it had been carried out before; one that comes late changes nothing and cannot bring anything back.
"""

from __future__ import annotations

import hashlib
import random
from collections import Counter
from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import pytest

from tests.faults.devices import COUNTED, KINDS_SENT, Device, Operation, operations_of
from tests.faults.ground import Ground, make_ground
from tests.faults.hands import share_out

pytestmark = [pytest.mark.slow, pytest.mark.timeout(900)]
DEVICES, ORDERS, AT_ONCE = 20, 5, 5
COUNTS = {"create": 366, "change": 126, "correct": 3, "withdraw": 5}
VINES = 400
#: What the server says of a record beside what it was told.
NOT_TOLD = ("farm_id", "block_id", "vine_id", "received_at", "changed_at", "withdrawn_at", "change_position", "api_key_id",
            "recorded_by_id", "created_digest", "line_digest", "imported_from_id")  # fmt: skip


def test_twenty_devices_heard_in_five_orders_leave_the_same_state_and_lose_nothing(service, eater):
    states, lost, again, failures = [], 0, 0, []
    expected: Counter[Any] = Counter()
    for order in range(ORDERS):
        ground = make_ground(service.phone(), vines=VINES)
        devices = [device_of(number, order, service, ground, eater.port) for number in range(DEVICES)]
        share_out(devices, AT_ONCE, tell_all)
        told = [operation for device in devices for operation in device.acknowledged]
        lost, again = lost + sum(d.lost for d in devices), again + sum(d.sent_again for d in devices)
        failures += [wrong for device in devices for wrong in device.wrong]
        assert failures == []
        expected = Counter(outcome_of(told))
        assert len(told) == DEVICES * sum(COUNTS.values())
        assert Counter(standing(service, ground)) == expected, "what stands is not what the operations say"
        states.append(digest(service, ground))
    print(
        f"devices: trials {ORDERS} x {DEVICES} x {sum(COUNTS.values())}, fault hits {lost} replies lost and {again} sent "
        f"again, failures {len(failures)}, states {len(set(states))}"
    )
    assert lost > 0 and again > 0
    assert len(set(states)) == 1


def tell_all(share: Sequence[Device]) -> Sequence[Device]:
    for device in share:
        device.tell_all()
    return share


def device_of(number: int, order: int, service: Any, ground: Ground, port: int) -> Device:
    """Give a device with its operations, which no order changes, and the dice of this order."""
    clock = timedelta(minutes=random.Random(number).randint(-24 * 60, 24 * 60))
    told = operations_of(number, ground, clock, COUNTS)
    return Device(told, ground, service.phone(port), random.Random(1000 * order + number))


def outcome_of(told: list[Operation]) -> list[tuple[Any, ...]]:
    """Give what must stand: each record with its versions, its count as last said, and whether it was withdrawn."""
    last: dict[str, Operation] = {}
    for each in sorted(told, key=lambda operation: operation.makes):
        last[each.id] = each
    said = {each.id: each.body.get(COUNTED[each.kind]) for each in told if each.does == "create"}
    return [
        (each.kind, each.id, each.makes, said[each.id] if each.does in {"create", "withdraw"} else each.body[COUNTED[each.kind]],
         each.does == "withdraw")
        for each in last.values()
    ]  # fmt: skip


def standing(service: Any, ground: Ground) -> list[tuple[Any, ...]]:
    return [
        (kind, *row)
        for kind in KINDS_SENT
        for row in service.ask(
            f"SELECT id::text, version, {COUNTED[kind]}, withdrawn_at IS NOT NULL FROM {kind} WHERE farm_id = %s", ground.farm
        )
    ]  # fmt: skip


def digest(service: Any, ground: Ground) -> str:
    """Give a digest of all that was told: every column of every record, with the places in place of their ids."""
    told = hashlib.sha256()
    for kind in KINDS_SENT:
        rows = service.ask(
            f"SELECT r.id::text, (to_jsonb(r) - %s::text[])::text, v.place, r.withdrawn_at IS NOT NULL, (SELECT count(*) FROM "
            f"record_change c WHERE c.farm_id = r.farm_id AND c.entity_id = r.id) FROM {kind} r LEFT JOIN vine v ON "
            "v.farm_id = r.farm_id AND v.id = r.vine_id WHERE r.farm_id = %s ORDER BY 1",
            list(NOT_TOLD),
            ground.farm,
        )
        told.update(repr(rows).encode())
    return told.hexdigest()
