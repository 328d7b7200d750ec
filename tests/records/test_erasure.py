"""A farm erased: no trace of its content anywhere, nobody else touched, and it does not come back with a restore."""

from __future__ import annotations

import os
import subprocess
import uuid
from typing import Any
from urllib.parse import urlsplit

import orjson
import pytest
from django.db import DatabaseError, ProgrammingError, connection, transaction

from records.access import enter, open_farm, open_for_work
from records.context import set_context
from records.errors import Conflict, NotValid
from records.models import Erasure, Farm, JobTicket, Membership
from records.services import erasure, jobs
from records.services.vineyards import change_block, create_block, create_row, plant_row
from vineyard.stack.binaries import postgres_binaries

OWN, FOREIGN = "Canary-of-the-first", "Canary-of-the-other"


@pytest.fixture
def farms(transactional_db: None, cast: Any) -> Any:
    """Two farms, each with its canary in as many tables as a grower reaches, history, jobs and exports included."""
    with transaction.atomic():
        for player, farm, canary in ((cast.owner, cast.farm, OWN), (cast.stranger, cast.other_farm, FOREIGN)):
            enter(player.caller)
            opened = open_farm(player.caller, farm.pk)
            block = create_block(opened, None, {"name": f"{canary} block", "note": f"{canary} old note"}).row
            plant_row(opened, create_row(opened, block, None, 1).row, 3)
            change_block(opened, block.pk, {"note": f"{canary} note"}, version=1, reason=f"{canary} reason")
    for player, farm, canary in ((cast.owner, cast.farm, OWN), (cast.stranger, cast.other_farm, FOREIGN)):
        text = f"row,vine,pruning_weight,remark\n1,1,1.25,{canary} remark\n"
        asked = player.client.post(
            f"/api/v1/farms/{farm.pk}/imports?block={canary}-imported&season=2027&map=plain",
            text,
            content_type="text/csv",
        )
        jobs.run(farm.pk, uuid.UUID(asked.json()["job"]["id"]))
        export = player.client.post(f"/api/v1/farms/{farm.pk}/exports").json()
        jobs.run(farm.pk, uuid.UUID(export["job"]))
    return cast


def dump() -> str:
    """Give everything that the database holds, as the superuser's pg_dump writes it."""
    parts = urlsplit(os.environ["DATABASE_OWNER_URL"])
    name = str(connection.settings_dict["NAME"])
    superuser = parts._replace(netloc=f"postgres@{parts.netloc.rpartition('@')[2]}", path=f"/{name}").geturl()
    argv = [str(postgres_binaries() / "pg_dump"), "--data-only", superuser]
    ended = subprocess.run(argv, capture_output=True, text=True, timeout=60, check=False)
    assert ended.returncode == 0, ended.stderr
    return ended.stdout


def erase(player: Any, farm: Any, name: str | None = None) -> Any:
    body = {"farm_name": farm.name if name is None else name}
    return player.client.post(f"/api/v1/farms/{farm.pk}/erasure", body, format="json")


def rows_of(farm: Any) -> dict[str, str]:
    """Give a digest of the farm's rows for every table that has any, as row-level security shows them to it."""
    digests = {}
    with transaction.atomic(), connection.cursor() as cursor:
        set_context(farms=[farm.pk], person=None)
        cursor.execute("SELECT named FROM tables_of_farms()")
        for (table,) in cursor.fetchall():
            cursor.execute(
                f'SELECT count(*), md5(string_agg(t::text, chr(10) ORDER BY t::text)) FROM "{table}" t WHERE farm_id = %s',
                [farm.pk],
            )
            count, digest = cursor.fetchone()
            if count:
                digests[table] = digest
    return digests


def in_context(farm: Any, query: Any) -> Any:
    with transaction.atomic():
        open_for_work(farm.pk)
        return query()


@pytest.mark.slow
def test_no_canary_of_the_farm_is_left_in_a_dump_and_the_other_farms_rows_are_what_they_were(farms):
    before = rows_of(farms.other_farm)
    assert {"block", "record_change", "import_row", "job", "export_part", "membership"} <= set(before)
    found = dump()
    assert OWN in found and FOREIGN in found  # the search can find them
    answer = erase(farms.owner, farms.farm)
    assert answer.status_code == 200, answer.json()
    found = dump()
    assert OWN not in found
    assert FOREIGN in found
    assert rows_of(farms.farm) == {}
    assert rows_of(farms.other_farm) == before


def test_what_the_farm_added_to_the_catalogues_and_chose_from_them_goes_with_it_and_nobody_elses(farms):
    """Its blocks, vines and told targets point at its formula, so no order of tables would do without deferring."""
    for player, farm in ((farms.owner, farms.farm), (farms.stranger, farms.other_farm)):
        place = f"/api/v1/farms/{farm.pk}"
        said = {"code": "own-canary", "label": f"canary of {farm.pk}", "source": f"trial of {farm.pk}"}
        for noun, sent in (
            ("formulas", {**said, "kind": "fixed", "first_nodes": 80}),
            ("ranges", {**said, "measure": "mean_cane_weight", "low": 20, "unit": "g"}),
            ("range-choices", {"measure": "mean_cane_weight", "range": "own-canary"}),
        ):
            assert player.client.post(f"{place}/{noun}", sent, format="json").status_code == 201
        named = {"pruning_formula": "own-canary"}
        assert player.client.patch(place, named, format="json", headers={"If-Match": "*"}).status_code == 200
        block = player.client.get(f"{place}/blocks").json()["results"][0]["id"]
        vine = player.client.get(f"{place}/blocks/{block}/vines").json()["results"][0]["id"]
        weighing = {
            "vine": vine,
            "observed_at": "2028-01-16T10:02:00-05:00",
            "pruning_weight": {"value": 2, "unit": "kg"},
        }
        told = player.client.post(f"{place}/dormant-records", weighing, format="json").json()
        assert told["target"]["nodes"] == 80, told
    assert f"canary of {farms.farm.pk}" in dump()
    assert erase(farms.owner, farms.farm).status_code == 200
    found = dump()
    assert f"canary of {farms.farm.pk}" not in found and f"trial of {farms.farm.pk}" not in found
    assert f"canary of {farms.other_farm.pk}" in found
    for noun in ("formulas", "ranges"):
        kept = farms.stranger.client.get(f"/api/v1/farms/{farms.other_farm.pk}/{noun}?owner=farm").json()["results"]
        assert [row["code"] for row in kept] == ["own-canary"]
    assert "range_choice" in rows_of(farms.other_farm)


def test_one_line_is_left_that_names_the_farm_by_id_the_time_the_person_and_the_counts(farms):
    answer = erase(farms.owner, farms.farm).json()
    line = Erasure.objects.get()
    assert (line.erased_farm_id, line.asked_by_id) == (farms.farm.pk, farms.owner.person.pk)
    assert answer["rows"] == line.counts
    assert line.counts["vine"] >= 3 and line.counts["membership"] == 3 and line.counts["consent"] == 1
    assert OWN not in str(line.counts) and farms.farm.name not in str(line.counts)


def test_afterwards_the_farm_is_answered_as_if_there_had_never_been_one(farms):
    erase(farms.owner, farms.farm)
    gone = farms.owner.client.get(f"/api/v1/farms/{farms.farm.pk}")
    never = farms.owner.client.get(f"/api/v1/farms/{uuid.uuid4()}")
    assert (gone.status_code, gone.json()["detail"]) == (never.status_code, never.json()["detail"])
    assert farms.owner.client.get("/api/v1/farms").json()["results"] == []


def test_a_name_that_is_not_the_farms_erases_nothing(farms):
    before = rows_of(farms.farm)
    answer = erase(farms.owner, farms.farm, "Tern Hill")
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "#/farm_name")
    assert rows_of(farms.farm) == before
    assert not Erasure.objects.exists()


@pytest.mark.parametrize("name", ["worker", "viewer", "adviser"])
def test_only_an_owner_may_erase(name, farms):
    assert erase(getattr(farms, name), farms.farm).status_code == 403
    assert rows_of(farms.farm)


def test_an_app_that_asks_for_its_erased_farm_again_does_not_bring_it_back(farms):
    erase(farms.owner, farms.farm)
    body = {"id": str(farms.farm.pk), "name": "Back again", "hemisphere": "north", "time_zone": "Europe/Paris"}
    answer = farms.owner.client.post("/api/v1/farms", body, format="json")
    assert (answer.status_code, answer.json()["code"]) == (409, "id_unavailable")


def test_a_job_whose_farm_is_erased_while_it_runs_stops_and_is_not_tried_again(farms):
    asked = farms.owner.client.post(f"/api/v1/farms/{farms.farm.pk}/exports").json()

    def erase_in_between(done: int, total: int) -> None:
        if not Erasure.objects.exists():
            assert erase(farms.owner, farms.farm).status_code == 200

    jobs.run(farms.farm.pk, uuid.UUID(asked["job"]), erase_in_between)
    assert not JobTicket.objects.filter(farm_id=farms.farm.pk).exists()
    assert rows_of(farms.farm) == {}


@pytest.mark.django_db
def test_a_farm_too_large_for_a_request_is_left_whole_and_the_way_out_is_named(cast):
    enter(cast.owner.caller)
    with pytest.raises(Conflict, match="manage.py erase_farm"), transaction.atomic():
        erasure.erase(open_farm(cast.owner.caller, cast.farm.pk), cast.farm.name, limit_ms=1)
    assert rows_of(cast.farm)


def call_erase_farm(farm: Any, name: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT erase_farm(%s, %s)", [farm.pk, name])


@pytest.mark.django_db
def test_the_database_itself_erases_no_farm_but_the_one_that_the_context_opens(cast):
    for opened in (None, [cast.other_farm.pk], [cast.farm.pk, cast.other_farm.pk]):
        set_context(farms=opened, person=None)
        with pytest.raises(ProgrammingError, match="does not open this farm alone"), transaction.atomic():
            call_erase_farm(cast.farm, cast.farm.name)


@pytest.mark.django_db
def test_the_database_itself_erases_on_behalf_of_owners_and_staff_alone(cast):
    for player in (cast.worker, cast.stranger, cast.lead):
        set_context(farms=[cast.farm.pk], person=player.person.pk)
        with pytest.raises(ProgrammingError, match="neither an owner"), transaction.atomic():
            call_erase_farm(cast.farm, cast.farm.name)


@pytest.mark.django_db
def test_the_database_itself_wants_the_name(cast):
    set_context(farms=[cast.farm.pk], person=cast.owner.person.pk)
    with pytest.raises(DatabaseError, match="another name"), transaction.atomic():
        call_erase_farm(cast.farm, "Another name")


@pytest.mark.django_db
@pytest.mark.parametrize(
    "sql", ["INSERT INTO erasure (erased_farm_id, counts) VALUES (uuidv7(), '{}')", "DELETE FROM erasure"]
)
def test_the_role_that_serves_can_neither_write_the_log_nor_shorten_it(sql):
    with (
        pytest.raises(ProgrammingError, match="permission denied"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(sql)


@pytest.mark.django_db
def test_nobody_but_the_serving_role_may_call_it():
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT grantee::regrole::text FROM pg_proc, aclexplode(proacl) WHERE proname = 'erase_farm' "
            "AND grantee <> proowner AND privilege_type = 'EXECUTE'"
        )
        assert cursor.fetchall() == [(connection.settings_dict["USER"],)]


def test_a_restore_of_an_older_backup_is_made_good_by_replaying_the_log(farms):
    """The farm's rows come back with the backup, whose log does not know of the erasure yet."""
    with transaction.atomic():
        open_for_work(farms.farm.pk)
        columns = {name: getattr(farms.farm, name) for name in ("id", "name", "hemisphere", "time_zone")}
    erase(farms.owner, farms.farm)
    kept_elsewhere = list(erasure.log_lines())
    _restore_without_log(columns, farms.owner.person)
    assert rows_of(farms.farm)
    again = erasure.replay(kept_elsewhere)
    assert [(erased.farm_id, erased.counts) for erased in again] == [(farms.farm.pk, {"membership": 1})]
    assert rows_of(farms.farm) == {}
    line = Erasure.objects.get()
    told = orjson.loads(kept_elsewhere[0])
    assert (str(line.erased_farm_id), str(line.asked_by_id)) == (told["farm"], told["asked_by"])
    assert line.erased_at.isoformat() == told["erased_at"]


def test_replaying_a_log_twice_changes_nothing_and_touches_nobody_else(farms):
    erase(farms.owner, farms.farm)
    before = rows_of(farms.other_farm)
    assert erasure.replay() == erasure.replay(erasure.log_lines()) == []
    assert rows_of(farms.other_farm) == before
    assert Erasure.objects.count() == 1


def _restore_without_log(columns: dict[str, Any], owner: Any) -> None:
    """Bring a farm back as a restore would: its rows, and a log that is as old as they are."""
    from vineyard.database_owner import as_owner

    with as_owner() as database, database.cursor() as cursor:
        cursor.execute("DELETE FROM erasure")
    with transaction.atomic():
        set_context(farms=[columns["id"]])
        Farm.objects.create(**columns)
        Membership.objects.create(farm_id=columns["id"], person=owner, role="owner")


@pytest.mark.parametrize("line", ["{}", "not json", '{"farm": 7, "erased_at": "now", "asked_by": null}'])
@pytest.mark.django_db
def test_a_line_that_is_no_line_of_a_log_is_refused_with_its_beginning(line):
    with pytest.raises(NotValid, match="is no line of a log of erasures"):
        erasure.replay([line])
