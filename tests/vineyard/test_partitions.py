"""The tables of annual records split by season, in a database of their own: the service does not notice, PostgreSQL does."""

from __future__ import annotations

import os
import re
import uuid
from collections.abc import Iterator
from io import StringIO
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.core.management import CommandError, call_command
from django.db import Error, IntegrityError, connection, transaction

from balance.summaries.keeping import settle
from records.context import set_context
from records.kinds import KINDS
from records.partitioning import SEASONS_AHEAD
from tests.records.yard import Bulk
from vineyard.database_owner import as_owner

NAME = "vineyard_split"
FIRST = 2027
WEIGHING = KINDS["dormant_record"]


@pytest.fixture(scope="module")
def unsplit(django_db_blocker: Any) -> Iterator[None]:
    """A database with the tables as a release makes them; for as long as this lasts it is the service's."""
    with django_db_blocker.unblock():
        before = connection.settings_dict["NAME"]
        prepared = urlsplit(os.environ["DATABASE_URL"]).path.strip("/")
        with as_owner() as owner, owner._nodb_cursor() as cursor:
            cursor.execute(f"DROP DATABASE IF EXISTS {NAME} WITH (FORCE)")
            cursor.execute(f"CREATE DATABASE {NAME} TEMPLATE {prepared}")
        connection.close()
        connection.settings_dict["NAME"] = NAME
        yield
        connection.close()
        connection.settings_dict["NAME"] = before
        with as_owner() as owner, owner._nodb_cursor() as cursor:
            cursor.execute(f"DROP DATABASE {NAME} WITH (FORCE)")


def made() -> Any:
    from tests.conftest import make_cast

    cast = make_cast()
    with transaction.atomic():
        return cast, Bulk(cast)


class Yard:
    """A block of vines, with a weighing in the season before the first that has a partition, made before the split."""

    def __init__(self) -> None:
        self.cast, self.bulk = made()
        self.old = self.weigh(0, FIRST - 1).json()

    def weigh(self, vine: int, season: int, **more: Any) -> Any:
        sent = self.bulk.new(WEIGHING, vine=str(self.bulk.vines[vine].pk), observed_at=f"{season}-01-16T10:02:00-05:00")
        return self.bulk.post(WEIGHING, {**sent, **more})

    def rows(self, sql: str, *arguments: Any) -> list[tuple[Any, ...]]:
        """Ask as the serving role with this farm open."""
        with transaction.atomic():
            set_context(farms=[self.cast.farm.pk])
            with connection.cursor() as cursor:
                cursor.execute(sql, arguments)
                return list(cursor.fetchall())

    def partition_of(self, record: Any) -> str:
        [(name,)] = self.rows("SELECT tableoid::regclass::text FROM dormant_record WHERE id = %s", record["id"])
        return str(name)


@pytest.fixture(scope="module")
def yard(unsplit: None) -> Yard:
    yard = Yard()
    told = StringIO()
    call_command("partition_season_tables", first=FIRST, stdout=told)
    return yard


def test_the_service_writes_reads_and_knows_again_as_before(yard):
    first = yard.weigh(1, FIRST)
    assert first.status_code == 201
    again = yard.bulk.new(WEIGHING, vine=str(yard.bulk.vines[1].pk), observed_at=f"{FIRST}-01-16T10:02:00-05:00")
    again["id"] = first.json()["id"]
    assert yard.bulk.post(WEIGHING, again).status_code == 200
    assert yard.bulk.post(WEIGHING, {**again, "note": "other"}).json()["code"] == "id_in_use"
    assert yard.weigh(1, FIRST).json()["code"] == "already_recorded"
    assert yard.cast.worker.client.get(yard.bulk.at(WEIGHING, first.json())).json()["id"] == again["id"]


def test_a_season_has_a_partition_and_what_stood_is_the_first_as_it_was(yard):
    assert yard.partition_of(yard.old) == f"dormant_record_before_{FIRST}"
    assert yard.partition_of(yard.weigh(2, FIRST).json()) == f"dormant_record_{FIRST}"
    assert yard.partition_of(yard.weigh(2, FIRST + 1).json()) == f"dormant_record_{FIRST + 1}"


def test_a_season_without_a_partition_is_opened_by_the_command(yard):
    season = FIRST + SEASONS_AHEAD
    with pytest.raises(CommandError, match="not split|split already"):
        call_command("partition_season_tables", "dormant_record", stdout=StringIO())
    call_command("partition_season_tables", open=season, stdout=StringIO())
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM pg_inherits WHERE inhparent = 'dormant_record'::regclass")
        assert cursor.fetchone() == (1 + SEASONS_AHEAD + 1,)


COLUMNS = (
    "farm_id, block_id, vine_id, version, created_digest, received_at, changed_at, observed_at, observed_offset_minutes"
)
COPY = f"""
    INSERT INTO dormant_record (id, season, {COLUMNS}, note, app_name, device, source, scale, pruner)
    SELECT %s, %s, farm_id, block_id, %s, 1, '', now(), now(), observed_at, observed_offset_minutes, '', '', '', 'api', 'not_stated', ''
    FROM dormant_record WHERE id = %s
"""


def test_an_id_is_one_record_for_ever_whatever_the_season(yard):
    """The key of a partition cannot say so: the register does."""
    vine = yard.bulk.vines[3].pk
    with pytest.raises(IntegrityError, match="dormant_record_id_pkey"):
        yard.rows(COPY + " RETURNING 1", yard.old["id"], FIRST, vine, yard.old["id"])
    other = yard.bulk.new(WEIGHING, vine=str(vine), observed_at=f"{FIRST}-01-16T10:02:00-05:00", id=yard.old["id"])
    assert yard.bulk.post(WEIGHING, other).json()["code"] == "id_in_use"
    answer = yard.bulk.send([yard.bulk.weighing(10), {**yard.bulk.weighing(3), "id": yard.old["id"]}])
    assert (answer.status_code, answer.json()["code"]) == (409, "conflict")  # the whole part: see DEVELOPERS.md
    assert yard.rows("SELECT season FROM dormant_record WHERE id = %s", yard.old["id"]) == [(FIRST - 1,)]


def test_a_correction_of_the_season_moves_the_record_with_its_id_history_and_summaries(yard):
    record = yard.weigh(4, FIRST + 1).json()
    [before] = yard.rows("SELECT change_position FROM dormant_record WHERE id = %s", record["id"])
    corrected = "UPDATE dormant_record SET season = %s, version = version + 1 WHERE id = %s RETURNING version"
    assert yard.rows(corrected, FIRST, record["id"]) == [(2,)]
    assert yard.partition_of(record) == f"dormant_record_{FIRST}"
    register = yard.rows("SELECT season FROM dormant_record_id WHERE id = %s", record["id"])
    assert register == [(FIRST,)]
    kept = yard.rows("SELECT version, old_row ->> 'season' FROM record_change WHERE entity_id = %s", record["id"])
    assert kept == [(1, str(FIRST + 1))]
    [after] = yard.rows("SELECT change_position FROM dormant_record WHERE id = %s", record["id"])
    assert after > before
    counted = "SELECT count(*) FROM dormant_record WHERE season = %s AND withdrawn_at IS NULL"
    with transaction.atomic():
        set_context(farms=[yard.cast.farm.pk])
        settle([yard.cast.farm.pk])
    for season in (FIRST, FIRST + 1):
        [(records,)] = yard.rows("SELECT records FROM block_season WHERE season = %s", season)
        assert [(records,)] == yard.rows(counted, season)


def test_records_in_bulk_go_to_their_seasons_and_a_repeat_stores_nothing(yard):
    lines = [yard.bulk.weighing(number, observed_at=f"{FIRST + number % 2}-02-16T10:02:00-05:00") for number in (5, 6)]
    assert yard.bulk.statuses(yard.bulk.send(lines)) == ["created", "created"]
    assert yard.bulk.statuses(yard.bulk.send(lines)) == ["unchanged", "unchanged"]
    assert {yard.partition_of(line) for line in lines} == {f"dormant_record_{FIRST}", f"dormant_record_{FIRST + 1}"}


def test_one_season_of_a_block_touches_one_partition(yard):
    sql = "EXPLAIN SELECT pruning_weight_kg FROM dormant_record WHERE farm_id = %s AND block_id = %s AND season = %s"
    plan = "\n".join(line for (line,) in yard.rows(sql, yard.cast.farm.pk, yard.bulk.block.pk, FIRST))
    assert set(re.findall(r" on (dormant_record\w*)", plan)) == {f"dormant_record_{FIRST}"}


def test_an_id_alone_is_looked_up_in_every_partition_unless_the_register_names_its_season(yard):
    alone = "EXPLAIN SELECT note FROM dormant_record WHERE farm_id = %s AND id = %s"
    plan = "\n".join(line for (line,) in yard.rows(alone, yard.cast.farm.pk, yard.old["id"]))
    assert len(set(re.findall(r" on (dormant_record\w*)", plan))) >= 1 + SEASONS_AHEAD


def test_a_key_of_a_partition_is_met_under_the_name_of_the_table(yard):
    assert yard.weigh(7, FIRST).status_code == 201
    answer = yard.weigh(7, FIRST)
    assert (answer.status_code, answer.json()["code"]) == (409, "already_recorded")


def test_checks_and_references_hold_in_every_partition(yard):
    for season in (FIRST - 1, FIRST, FIRST + 1):
        with pytest.raises(IntegrityError, match="dormant_record_vine_of_the_same_farm"):
            yard.rows(COPY + " RETURNING 1", uuid.uuid4(), season, uuid.uuid4(), yard.old["id"])
    record = yard.weigh(8, FIRST).json()
    with pytest.raises(IntegrityError, match="dormant_record_nodes_retained"):
        yard.rows("UPDATE dormant_record SET nodes_retained = 30000 WHERE id = %s RETURNING 1", record["id"])


def test_what_points_to_a_record_points_to_its_registered_id(yard):
    sql = """
        SELECT conname FROM pg_constraint WHERE contype = 'f' AND conparentid = 0
        AND confrelid::regclass::text IN ('dormant_record_id', 'cordon_inspection_id') ORDER BY 1
    """
    assert [name for (name,) in yard.rows(sql)] == [
        "cordon_step_cordon_inspection_of_the_same_farm",
        "pruning_target_dormant_record_of_the_same_farm",
    ]


def test_the_wall_between_farms_stands_before_the_table_the_register_and_each_partition(yard):
    for table in ("dormant_record", "dormant_record_id"):
        assert yard.rows(f"SELECT count(DISTINCT farm_id) FROM {table}") == [(1,)]
        with transaction.atomic():
            set_context(farms=[yard.cast.other_farm.pk])
            with connection.cursor() as cursor:
                cursor.execute(f"SELECT count(*) FROM {table}")
                assert cursor.fetchone() == (0,)
    for partition in (f"dormant_record_before_{FIRST}", f"dormant_record_{FIRST}"):
        with pytest.raises(Error, match="permission denied"):
            yard.rows(f"SELECT count(*) FROM {partition}")


def test_an_old_season_is_put_aside_and_comes_back(yard):
    """Its ids stay registered meanwhile: nobody else gets them."""
    record = yard.weigh(9, FIRST + 2).json()
    name = f"dormant_record_{FIRST + 2}"
    with as_owner() as owner, owner.cursor() as cursor:
        cursor.execute(f"ALTER TABLE dormant_record DETACH PARTITION {name}")
    assert yard.rows("SELECT count(*) FROM dormant_record WHERE id = %s", record["id"]) == [(0,)]
    other = yard.bulk.new(
        WEIGHING, vine=str(yard.bulk.vines[9].pk), observed_at=f"{FIRST}-01-16T10:02:00-05:00", id=record["id"]
    )
    assert yard.bulk.post(WEIGHING, other).status_code == 409
    with as_owner() as owner, owner.cursor() as cursor:
        cursor.execute(
            f"ALTER TABLE dormant_record ATTACH PARTITION {name} FOR VALUES FROM ({FIRST + 2}) TO ({FIRST + 3})"
        )
    assert yard.partition_of(record) == name


def test_every_table_of_records_is_split_and_its_walls_are_those_of_before(yard):
    """The rules of the tables as releases make them hold for the partitioned ones, too."""
    for table in KINDS:
        [(kind, secured, forced)] = yard.rows(
            "SELECT relkind, relrowsecurity, relforcerowsecurity FROM pg_class WHERE oid = %s::regclass", table
        )
        assert (kind, secured, forced) == ("p", True, True), table


def test_a_dry_run_prints_the_same_statements_and_changes_nothing(yard):
    told = StringIO()
    call_command("partition_season_tables", open=FIRST + 9, dry_run=True, stdout=told)
    assert f"FOR VALUES FROM ({FIRST + 9}) TO ({FIRST + 10});" in told.getvalue()
    assert yard.rows("SELECT to_regclass(%s)", f"dormant_record_{FIRST + 9}") == [(None,)]


def test_a_farm_that_is_erased_leaves_nothing_in_partitions_or_register(yard):
    """The last of this file: it ends the farm of the others."""
    assert yard.rows("SELECT count(*) > 5 FROM dormant_record_id") == [(True,)]
    said = {"farm_name": yard.cast.farm.name}
    answer = yard.cast.owner.client.post(f"{yard.bulk.url}/erasure", said, format="json")
    assert answer.status_code == 200, answer.content
    assert answer.json()["rows"]["dormant_record_id"] > 5
    for table in KINDS:
        assert yard.rows(f"SELECT (SELECT count(*) FROM {table}), (SELECT count(*) FROM {table}_id)") == [(0, 0)]
