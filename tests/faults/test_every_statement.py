"""The connection to the database is cut at the n-th statement of a write, for every n until the write passes.

Each time, before the statement arrives and after it was carried out: everything stands there or nothing does, the
answer is no success unless everything does, and sending again comes to the same end as if nothing had happened.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.db import connection, transaction
from rest_framework.test import APIClient

from records.access import enter, open_farm, open_for_work
from records.api.kind_examples import NEW
from records.models import Vine
from records.models.base import FarmOwned
from records.services.vineyards import create_block, create_row, plant_row
from tests.faults.wire import Wire, wire_to

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow, pytest.mark.timeout(600)]
#: No write takes so many statements; a loop that gets here tests something else.
MOST_STATEMENTS = 80


@pytest.fixture
def farm(transactional_db: None, request: pytest.FixtureRequest) -> Any:
    """A farm with a block of vines, as a request would have founded it."""
    with transaction.atomic():
        cast = request.getfixturevalue("cast")
        enter(cast.owner.caller)
        opened = open_farm(cast.owner.caller, cast.farm.pk)
        block = create_block(opened, None, {"name": "Lower Terrace"}).row
        plant_row(opened, create_row(opened, block, None, 1).row, 400)
        cast.block = block
        cast.vines = list(Vine.objects.for_farm(cast.farm).values_list("pk", flat=True))
    return cast


@pytest.fixture
def wire(farm: Any) -> Iterator[Wire]:
    """Everything that Django asks the database goes through the wire."""
    before = dict(connection.settings_dict)
    connection.close()
    with wire_to(Path(before["HOST"]) / f".s.PGSQL.{before['PORT'] or 5432}") as laid:
        plain = {**before["OPTIONS"], "sslmode": "disable", "gssencmode": "disable"}
        connection.settings_dict.update(HOST="127.0.0.1", PORT=str(laid.port), OPTIONS=plain)
        try:
            yield laid
        finally:
            connection.close()
            connection.settings_dict.clear()
            connection.settings_dict.update(before)


@dataclass
class Write:
    """One request, as it may be sent again."""

    method: str
    path: str
    body: Any
    headers: dict[str, str]


class Sender:
    """Sends as the API is called, and drops a broken connection after each request, as the API does."""

    def __init__(self, farm: Any) -> None:
        self.farm = farm
        self.url = f"/api/v1/farms/{farm.farm.pk}"
        self._client = APIClient(raise_request_exception=False)
        self._client.credentials(HTTP_AUTHORIZATION=f"Bearer {farm.owner.key_text}")

    def send(self, write: Write) -> Any:
        send = getattr(self._client, write.method.lower())
        try:
            return send(self.url + write.path, write.body, format="json", headers=write.headers)
        finally:
            connection.close()

    def stands(self) -> dict[str, Any]:
        """Count what the farm has in every table, and how often it was changed."""
        with transaction.atomic():
            open_for_work(self.farm.farm.pk)
            with connection.cursor() as cursor:
                return {table: _count(cursor, table) for table in _TABLES}


#: Sums over records are no records: they are made by whichever write of a block comes first, and hold what all wrote.
_TABLES = sorted(
    {model._meta.db_table for model in apps.get_models() if issubclass(model, FarmOwned)} - {"block_season"}
    | {"record_change", "pruning_target"}
)


def _count(cursor: Any, table: str) -> tuple[int, int]:
    has_version = table not in {"record_change", "pruning_target"}
    cursor.execute(f"SELECT count(*), coalesce(sum({'version' if has_version else '0'}), 0) FROM {table}")
    count, versions = cursor.fetchone()
    return int(count), int(versions)


def create_of(sender: Sender, turn: int) -> Write:
    body = {
        "id": str(uuid.uuid4()),
        "vine": str(sender.farm.vines[turn]),
        "observed_at": "2027-01-16T10:02:00-05:00",
        "pruning_weight": {"value": 2.8, "unit": "lb"},
    }
    return Write("POST", "/dormant-records", body, {})


def create_by_key_of(sender: Sender, turn: int) -> Write:
    """Without an id of the client's own, the key of the request makes it repeatable."""
    create = create_of(sender, turn)
    del create.body["id"]
    return Write("POST", create.path, create.body, {"Idempotency-Key": str(uuid.uuid4())})


def many_of(sender: Sender, turn: int) -> Write:
    """Thirty records of three kinds in one request."""
    vine, lines = str(sender.farm.vines[turn]), []
    for year in range(1960, 1970):
        for kind in ("dormant_record", "shoot_count", "vine_event"):
            record = {**NEW[kind], "kind": kind, "id": str(uuid.uuid4()), "vine": vine}
            lines.append({**record, "observed_at": record["observed_at"].replace("2027", str(year))})
    return Write("POST", "/records", lines, {})


def row_of(sender: Sender, turn: int) -> Write:
    body = {"id": str(uuid.uuid4()), "number": 100 + turn, "vines": 40}
    return Write("POST", f"/blocks/{sender.farm.block.pk}/rows", body, {})


def change_of(sender: Sender, turn: int) -> Write:
    created = create_of(sender, turn)
    assert sender.send(created).status_code == 201
    return Write("PATCH", f"/dormant-records/{created.body['id']}", {"nodes_retained": 38}, {"If-Match": '"1"'})


def withdrawal_of(sender: Sender, turn: int) -> Write:
    return Write("DELETE", change_of(sender, turn).path, None, {"If-Match": '"1"'})


WRITES: dict[str, Callable[[Sender, int], Write]] = {
    "create": create_of,
    "create by the key of the request": create_by_key_of,
    "create many": many_of,
    "create with all its vines": row_of,
    "change": change_of,
    "withdraw": withdrawal_of,
}


@pytest.mark.parametrize("carried_out", [False, True], ids=["cut before it", "cut after it"])
@pytest.mark.parametrize("name", WRITES)
def test_a_write_cut_at_any_statement_is_whole_or_not_there_and_sending_again_ends_it(name, carried_out, farm, wire):
    sender, make = Sender(farm), WRITES[name]
    whole = effect_of(sender, make(sender, 0))
    failures: list[Any] = []
    halfway = set()
    for n in range(1, MOST_STATEMENTS):
        write = make(sender, n)
        before = sender.stands()
        wire.arm(n, carried_out=carried_out)
        answer = sender.send(write)
        was_cut, _ = wire.was_cut, wire.arm(0)
        left = difference(before, sender.stands())
        again = sender.send(write)
        end = difference(before, sender.stands())
        told = (n, answer.status_code, again.status_code)
        if left not in ({}, whole) or end != whole or again.status_code not in {200, 201}:
            failures.append((told, left, end, again.content))
        if answer.status_code < 300 and left != whole:
            failures.append((told, "a success that did not apply"))
        if was_cut and answer.status_code >= 300 and (answer.status_code != 503 or "Retry-After" not in answer.headers):
            failures.append((told, "not told to come back", answer.content))
        if left and b"Nothing was stored" in answer.content:
            failures.append((told, "told that nothing was stored", answer.content))
        if not was_cut:
            break
        halfway.add(bool(left))
    print(f"{name}, cut {'after' if carried_out else 'before'}: fault hits {n - 1}, failures {len(failures)}")
    assert failures == []
    assert 5 < n < MOST_STATEMENTS
    assert halfway == ({False, True} if carried_out else {False}), (
        "the cut at COMMIT leaves everything, any other nothing"
    )


def effect_of(sender: Sender, write: Write) -> dict[str, tuple[int, int]]:
    before = sender.stands()
    assert sender.send(write).status_code in {200, 201}
    return difference(before, sender.stands())


def difference(before: dict[str, Any], after: dict[str, Any]) -> dict[str, tuple[int, int]]:
    """Give the tables in which something came about: so many rows and changes more."""
    return {
        table: (after[table][0] - before[table][0], after[table][1] - before[table][1])
        for table in before
        if after[table] != before[table]
    }
