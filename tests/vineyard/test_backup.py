"""The drill: records are made, backed up, lost, restored, found equal and served again; and nothing less counts."""

from __future__ import annotations

import json
import re
import stat
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import psycopg
import pytest

from tests.vineyard.drill import Drill, as_user, ask, drill, make_records
from vineyard.backup import BackupError, manifest
from vineyard.backup.programs import programs_for

pytestmark = [pytest.mark.slow, pytest.mark.timeout(400)]


@dataclass
class Drilled:
    """A database with records, and the backup that was made of it."""

    drill: Drill
    file: Path
    said: str
    records: list[Any]
    vine: str

    @property
    def manifest(self) -> Any:
        return json.loads(manifest.manifest_of(self.file).read_text())


@pytest.fixture(scope="module")
def drilled(tmp_path_factory: pytest.TempPathFactory, django_db_blocker: Any) -> Iterator[Drilled]:
    home = tmp_path_factory.mktemp("drill")
    with drill("backup", home, django_db_blocker) as opened:
        records, vine = make_records(opened)
        ended = opened.manage("backup", str(home / "monday"))
        assert (ended.returncode, len(records)) == (0, 9), ended.stderr
        yield Drilled(opened, home / "monday", ended.stdout, records, vine)


def without_hosts(records: list[Any]) -> Any:
    return json.loads(re.sub(r"https?://[^/\"]+", "", json.dumps(records)))


def rows(drill: Drill, table: str) -> int:
    return int(drill.sees_all(f"SELECT count(*) FROM {table}")[0][0])


def test_a_backup_says_what_it_holds_and_is_its_owners_alone(drilled):
    tables = drilled.manifest["contents"]["tables"]
    assert tables["dormant_record"]["rows"] == 9 == rows(drilled.drill, "dormant_record")
    assert {"person", "api_key", "vine", "django_migrations"} <= tables.keys()
    assert "restored and found equal" in drilled.said
    for file in (drilled.file, manifest.manifest_of(drilled.file)):
        assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert drilled.drill.on_server("SELECT datname FROM pg_database WHERE datname LIKE 'vineyard_backup_check%'") == []


def test_a_lost_database_is_restored_equal_and_serves_again(drilled):
    drilled.drill.lose()
    drilled.drill.make()
    ended = drilled.drill.manage("restore", str(drilled.file))
    assert (ended.returncode, "found equal" in ended.stdout) == (0, True), ended.stderr
    with drilled.drill.served() as facts:
        # Serving the scenario again puts its earlier years on record.
        answer = ask(facts, "owner", "GET", f"/api/v1/farms/{facts['farm']}/dormant-records?season=2026&limit=500")
        assert without_hosts(answer.json()["results"]) == without_hosts(drilled.records)
        body = {
            "vine": drilled.vine,
            "observed_at": "2027-01-18T10:02:00-05:00",
            "pruning_weight": {"value": 1, "unit": "kg"},
        }
        path = f"/api/v1/farms/{facts['farm']}/dormant-records"
        assert ask(facts, "owner", "POST", path, json=body).status_code == 201
        assert ask(facts, "stranger", "GET", path).status_code == 404, "the walls came back with the rows"


def test_a_database_that_is_not_empty_is_replaced_only_when_that_is_said(drilled):
    drilled.drill.sees_all("UPDATE farm SET name = 'Changed since'")
    assert "is not empty" in drilled.drill.refused("restore", str(drilled.file))
    assert drilled.drill.sees_all("SELECT DISTINCT name FROM farm") == [("Changed since",)]
    drilled.drill.done("restore", str(drilled.file), "--replace")
    assert ("Changed since",) not in drilled.drill.sees_all("SELECT name FROM farm")
    assert drilled.drill.sees_all("SELECT 1 FROM pg_namespace WHERE nspname = 'before_restore'") == []


def test_what_was_restored_can_be_backed_up_and_restored_once_more(drilled, tmp_path):
    drilled.drill.done("backup", str(tmp_path / "again"))
    drilled.drill.done("restore", str(tmp_path / "again"), "--replace")
    assert rows(drilled.drill, "dormant_record") == 9


@pytest.mark.parametrize("place", [0, 0.02, 0.5, 0.98])
def test_one_flipped_byte_is_found_and_nothing_is_touched(place, drilled, tmp_path):
    copy = tmp_path / "copy"
    content = bytearray(drilled.file.read_bytes())
    content[int(place * (len(content) - 1))] ^= 1
    copy.write_bytes(content)
    manifest.manifest_of(copy).write_bytes(manifest.manifest_of(drilled.file).read_bytes())
    with pytest.raises(BackupError, match="is damaged"):
        manifest.read_manifest(copy)
    if place == 0.5:
        assert "is damaged" in drilled.drill.refused("restore", str(copy), "--replace")
        assert rows(drilled.drill, "dormant_record") == 9


def test_every_byte_of_the_manifest_counts(drilled, tmp_path):
    copy = tmp_path / "copy"
    copy.write_bytes(drilled.file.read_bytes())
    content = manifest.manifest_of(drilled.file).read_bytes()
    spaces = {place for place, byte in enumerate(content) if chr(byte).isspace()}  # between members: they say nothing
    for place in sorted(set(range(0, len(content), 97)) - spaces):
        flipped = bytearray(content)
        flipped[place] ^= 1
        manifest.manifest_of(copy).write_bytes(flipped)
        with pytest.raises(BackupError, match="is damaged"):
            manifest.read_manifest(copy)
    manifest.manifest_of(copy).unlink()
    with pytest.raises(BackupError, match="two files"):
        manifest.read_manifest(copy)


def test_a_restore_that_does_not_yield_what_the_manifest_says_puts_everything_back(drilled, tmp_path):
    """A dump that was written whole, but of something else."""
    copy = tmp_path / "copy"
    copy.write_bytes(drilled.file.read_bytes())
    told = drilled.manifest
    del told["digest_of_this_manifest"]
    told["contents"]["tables"]["dormant_record"]["rows"] = 10
    told["digest_of_this_manifest"] = manifest._digest(told)
    manifest.manifest_of(copy).write_text(json.dumps(told))
    drilled.drill.sees_all("UPDATE farm SET name = 'Kept'")
    sentence = drilled.drill.refused("restore", str(copy), "--replace")
    assert "is not what the manifest says. dormant_record: 10 rows against 9" in sentence
    assert drilled.drill.sees_all("SELECT DISTINCT name FROM farm") == [("Kept",)]


def test_a_restore_that_was_interrupted_loses_nothing(drilled):
    """The machine stopped when the old tables had been put aside; the new ones come all at once or not at all."""
    drilled.drill.sees_all("UPDATE farm SET name = 'Put aside'")
    aside = "ALTER SCHEMA public RENAME TO before_restore", "CREATE SCHEMA public"
    for statement in aside:
        drilled.drill.as_owner(statement)
    assert "is not empty" in drilled.drill.refused("restore", str(drilled.file))
    assert drilled.drill.sees_all("SELECT DISTINCT name FROM farm") == [("Put aside",)]
    for statement in (*aside, "CREATE TABLE public.farm (name) AS SELECT 'Written since'"):
        drilled.drill.as_owner(statement)
    assert "Look at both" in drilled.drill.refused("restore", str(drilled.file), "--replace")
    assert drilled.drill.sees_all("SELECT name FROM public.farm") == [("Written since",)]
    for statement in ("DROP SCHEMA public CASCADE", "ALTER SCHEMA before_restore RENAME TO public"):
        drilled.drill.as_owner(statement)


def test_nobody_else_may_be_connected_while_a_database_is_replaced(drilled):
    with psycopg.connect(drilled.drill.environment["DATABASE_URL"]) as connection:
        connection.execute("SELECT 1")
        sentence = drilled.drill.refused("restore", str(drilled.file), "--replace")
    assert "Stop the service" in sentence


def test_a_farm_that_was_erased_since_the_backup_does_not_come_back(drilled):
    farm = drilled.drill.sees_all("SELECT id FROM farm WHERE id IN (SELECT farm_id FROM dormant_record)")[0][0]
    drilled.drill.sees_all(f"INSERT INTO erasure (erased_farm_id, counts) VALUES ('{farm}', '{{}}')")
    drilled.drill.done("restore", str(drilled.file), "--replace")
    assert drilled.drill.sees_all(f"SELECT 1 FROM farm WHERE id = '{farm}'") == []
    assert rows(drilled.drill, "dormant_record") == 0
    drilled.drill.sees_all("DELETE FROM erasure")
    drilled.drill.done("restore", str(drilled.file), "--replace")
    assert rows(drilled.drill, "dormant_record") == 9


def test_after_a_restore_the_feed_of_changes_begins_a_new_epoch(drilled):
    """Places in the feed are numbers of transactions, which another database counts from another beginning."""
    epoch = "SELECT epoch FROM feed_epoch"
    before, offset = drilled.drill.sees_all(epoch)[0][0], "SELECT public.change_offset()"
    drilled.drill.done("restore", str(drilled.file), "--replace")
    assert drilled.drill.sees_all(epoch)[0][0] > 1
    assert drilled.drill.sees_all(epoch)[0][0] >= before
    assert drilled.drill.sees_all(offset)[0][0] > 0


def test_while_others_write_the_backup_is_of_one_moment(drilled, tmp_path):
    over = threading.Event()

    def write() -> None:
        with psycopg.connect(drilled.drill.environment["DATABASE_BACKUP_URL"], autocommit=True) as connection:
            number = 0
            while not over.wait(0.002):
                number += 1
                connection.execute("UPDATE farm SET region = %s", [f"Harrow Vale {number} (invented)"])

    writer = threading.Thread(target=write)
    writer.start()
    try:
        assert "found equal" in drilled.drill.done("backup", str(tmp_path / "busy"))
    finally:
        over.set()
        writer.join()


def test_the_owner_who_would_not_see_every_row_is_refused(drilled, tmp_path):
    sentence = drilled.drill.refused(
        "backup", str(tmp_path / "half"), backup_url=drilled.drill.environment["DATABASE_OWNER_URL"]
    )
    assert "lacks BYPASSRLS" in sentence
    assert list(tmp_path.iterdir()) == []


def test_without_a_role_that_sees_every_row_the_way_out_is_said(drilled, tmp_path):
    sentence = drilled.drill.refused("backup", str(tmp_path / "none"), backup_url="postgresql://nobody@nowhere:1/none")
    assert "DATABASE_BACKUP_URL is not set" in sentence


def test_the_role_that_the_readme_describes_suffices(drilled, tmp_path):
    readme = (Path(__file__).resolve().parents[2] / "README.md").read_text()
    statements = [
        line.strip() for line in readme.splitlines() if "vineyard_backup" in line and line.strip().endswith(";")
    ]
    assert len(statements) == 2, "the README makes the role in two statements"
    role = f"{drilled.drill.name}_backup"
    for statement in statements:
        drilled.drill.on_server(statement.replace("vineyard_backup", role).replace("PASSWORD '…'", ""))
    try:
        url = as_user(drilled.drill.environment["DATABASE_BACKUP_URL"], role)
        assert urlsplit(url).username == role
        drilled.drill.done("backup", str(tmp_path / "plain"), backup_url=url)
        drilled.drill.done("restore", str(tmp_path / "plain"), "--replace", backup_url=url)
        assert rows(drilled.drill, "dormant_record") == 9
    finally:
        drilled.drill.on_server(f"DROP ROLE {role}")


def test_a_backup_is_never_written_over(drilled):
    assert "exists already" in drilled.drill.refused("backup", str(drilled.file))


def test_a_backup_of_a_newer_version_is_refused(drilled, tmp_path):
    copy = tmp_path / "copy"
    copy.write_bytes(drilled.file.read_bytes())
    told = drilled.manifest
    del told["digest_of_this_manifest"]
    told["migrations"].append("records.9999_of_tomorrow")
    told["digest_of_this_manifest"] = manifest._digest(told)
    manifest.manifest_of(copy).write_text(json.dumps(told))
    assert "records.9999_of_tomorrow" in drilled.drill.refused("restore", str(copy), "--replace")


def program(folder: Path, version: str) -> None:
    folder.mkdir()
    for name in ("pg_dump", "pg_restore"):
        (folder / name).write_text(f"#!/bin/sh\necho '{name} (PostgreSQL) {version}'\n")
        (folder / name).chmod(0o755)


def test_programs_of_another_major_version_are_passed_over_and_named_where_there_are_no_others(tmp_path):
    for version in ("15.18", "18.1"):
        program(tmp_path / version, version)
    folders = [tmp_path / "nothing", tmp_path / "15.18", tmp_path / "18.1"]
    assert programs_for(18, folders).folder == tmp_path / "18.1"
    with pytest.raises(BackupError, match=r"The server is PostgreSQL 19.*Found: 15 in .*15\.18, 18 in"):
        programs_for(19, folders)
