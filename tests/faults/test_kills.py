"""Any part is killed while clients write: what was acknowledged is there, once, and the service goes on by itself."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from tests.faults.ground import CREATES, Create, Ground, make_ground, new_weighing, new_weighings
from tests.faults.load import Load
from tests.faults.service import Service, until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]
CLIENTS, KILLS = 6, 4
VINES_A_ROW, IN_BULK = 50, 30


def writes(ground: Ground) -> Callable[[int], Create]:
    """Give what the clients post: weighings alone and by the thirty, and rows with all their vines."""

    def make(turn: int) -> Create:
        if turn % 10 == 0:
            row = CREATES["rows"](ground, turn)
            row.body["vines"] = VINES_A_ROW
            return row
        if turn % 10 == 5:
            first = 10_000 + turn // 10 * IN_BULK
            return new_weighings(ground, range(first, first + IN_BULK))
        return new_weighing(ground, turn)

    return make


def kill_api_worker(service: Service) -> None:
    service.kill_api_worker()


def kill_backend(service: Service) -> None:
    service.kill_backend()


def kill_postmaster(service: Service) -> None:
    service.kill_database()
    service.start_database()


@pytest.mark.parametrize("kill", [kill_api_worker, kill_backend, kill_postmaster])
def test_nothing_acknowledged_is_lost_when_a_part_is_killed_under_load(kill, service: Service):
    ground = make_ground(service.phone(), vines=500)
    with Load(CLIENTS, service.phone, writes(ground)) as load:
        load.goes_on()
        felt = [load.strike(lambda: kill(service)) for _ in range(KILLS)]
    lost = [create for create in load.acknowledged if not stands_once(service, create)]
    print(
        f"{kill.__name__}: trials {len(load.acknowledged)} acknowledged, kills {KILLS}, fault hits {felt}, "
        f"failures {len(lost) + len(load.refused)}"
    )
    assert load.refused == []
    assert lost == []
    assert all(felt), "a kill that nobody felt tested nothing"
    assert halves(service, ground) == []
    assert in_all(service, ground) == sum(len(create.ids) for create in load.acknowledged), (
        "something stands there that nobody was told of"
    )
    assert service.check_tables() == ""
    service.wait_until_ready()


def stands_once(service: Service, create: Create) -> bool:
    if create.table == "row":
        return service.ask("SELECT number FROM row WHERE id = %s", create.id) == [(create.body["number"],)]
    sent = create.body if isinstance(create.body, list) else [create.body]
    found = service.ask(
        "SELECT id::text, vine_id::text, pruning_weight_value::float FROM dormant_record WHERE id = ANY(%s::uuid[])",
        create.ids,
    )
    return sorted(found) == sorted((each["id"], each["vine"], each["pruning_weight"]["value"]) for each in sent)


def halves(service: Service, ground: Ground) -> list[Any]:
    """Give the rows that stand without all their vines."""
    return service.ask(
        "SELECT row.id, count(vine.id) FROM row LEFT JOIN vine ON vine.farm_id = row.farm_id AND vine.row_id = row.id "
        "WHERE row.farm_id = %s AND row.number >= 1000 GROUP BY row.id HAVING count(vine.id) <> %s",
        ground.farm,
        VINES_A_ROW,
    )


def in_all(service: Service, ground: Ground) -> int:
    records = service.ask("SELECT count(*) FROM dormant_record WHERE farm_id = %s", ground.farm)
    rows = service.ask("SELECT count(*) FROM row WHERE farm_id = %s AND number >= 1000", ground.farm)
    return int(records[0][0] + rows[0][0])


def test_writes_go_on_while_the_broker_is_down_and_a_job_asked_for_meanwhile_is_done_afterwards(service, ground):
    phone = service.phone()
    service.kill_broker()
    try:
        creates = [new_weighing(ground, turn) for turn in range(50)]
        replies = [phone.send("POST", create.path, create.body) for create in creates]
        asked = phone.send(
            "POST", f"{ground.url}/imports?block=Imported&season=2027", b"row,vine,pruning_weight\n1,1,1.25\n",
            Content_Type="text/csv",
        )  # fmt: skip
    finally:
        service.start_broker()
    failures = [reply for reply in replies if reply.status != 201]
    print(f"broker down: trials {len(replies) + 1}, fault hits {len(replies) + 1}, failures {len(failures)}")
    assert failures == []
    assert asked.status == 202, asked.content
    job = f"{ground.url}/jobs/{asked.json()['job']['id']}"
    until(lambda: phone.send("GET", job).json()["state"] == "succeeded", 60, "the job was forgotten")
