"""Migrations on a populated database: there and back with every old value kept, and never in anybody's way."""

from __future__ import annotations

import importlib.util
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from types import SimpleNamespace
from typing import Any, LiteralString

import psycopg
import pytest

from tests.vineyard.drill import ROOT, Drill, drill, make_records
from vineyard import migrating
from vineyard.backup.contents import TableContent, digest_of_columns

pytestmark = [pytest.mark.slow, pytest.mark.timeout(400)]
#: Filled by Django itself after every migration, not by ours.
DJANGOS_OWN = {"django_migrations", "django_content_type", "auth_permission"}
#: Advisers had a role and have a consent now (0004), so their rows move, and their history says so: all others stay.
MOVED: dict[str, LiteralString] = {"membership": "role <> 'adviser'", "record_change": "entity <> 'membership'"}
ADVISERS = {
    "role": "SELECT farm_id, person_id FROM membership WHERE role = 'adviser' ORDER BY 1, 2",
    "consent": "SELECT farm_id, person_id FROM consent WHERE purpose = 'advice' ORDER BY 1, 2",
}
#: Longer than a session that migrates waits for any other lock.
HAS_WAITED = """
    SELECT 1 FROM pg_stat_activity WHERE datname = current_database() AND query LIKE '%INDEX CONCURRENTLY%'
        AND wait_event = 'virtualxid' AND clock_timestamp() - query_start > interval '2.5 s'
"""
COLUMNS = """
    SELECT table_name, array_agg(column_name::text ORDER BY ordinal_position) FROM information_schema.columns
    JOIN information_schema.tables USING (table_schema, table_name)
    WHERE table_schema = 'public' AND table_type = 'BASE TABLE' GROUP BY 1
"""


def load_checker() -> Any:
    spec = importlib.util.spec_from_file_location("ci_migrations", ROOT / ".ci" / "migrations.py")
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


checker = load_checker()


@pytest.fixture(scope="module")
def populated(tmp_path_factory: pytest.TempPathFactory, django_db_blocker: Any) -> Iterator[Drill]:
    with drill("migrations", tmp_path_factory.mktemp("migrations"), django_db_blocker) as opened:
        make_records(opened)
        yield opened


Columns = dict[str, list[str]]
Digests = dict[Any, TableContent]


def columns_of(populated: Drill) -> Columns:
    return {table: columns for table, columns in populated.sees_all(COLUMNS) if table not in DJANGOS_OWN}


def digests(populated: Drill, columns: Columns, *, apart: bool = False) -> Digests:
    """Digest these columns of every table, all together or each apart."""
    with psycopg.connect(populated.environment["DATABASE_BACKUP_URL"], autocommit=True) as connection:
        if apart:
            pairs = [(table, column) for table, listed in columns.items() for column in listed]
            return {pair: digest_of_columns(connection, pair[0], [pair[1]], rows_of(pair[0])) for pair in pairs}
        return {
            table: digest_of_columns(connection, table, listed, rows_of(table)) for table, listed in columns.items()
        }


def rows_of(table: str) -> LiteralString:
    return MOVED.get(table, "true")


@dataclass
class Journey:
    """What was seen on the way forward, back and forward again; a migration costs seconds, so there is one way."""

    newest: Digests
    old: Columns
    back: Digests
    back_apart: Digests
    refusal: str
    while_locked: Columns
    said: str
    again: Digests
    indexes: dict[str, bool]
    advisers: list[Any]


@pytest.fixture(scope="module")
def journey(populated: Drill) -> Journey:
    patient = pytest.MonkeyPatch()
    patient.setattr(migrating, "PAUSE_SECONDS", 0.3)
    newest = digests(populated, columns_of(populated), apart=True)
    before = populated.sees_all(ADVISERS["consent"])
    populated.done("migrate", "records", checker.RELEASED["records"], "-v0")
    old = columns_of(populated)
    advisers = [before, populated.sees_all(ADVISERS["role"])]
    there, there_apart = digests(populated, old), digests(populated, old, apart=True)
    with held(populated, "block"), patient.context() as once:
        once.setattr(migrating, "ATTEMPTS", 2)
        refusal = populated.refused("migrate", "-v0")
        while_locked = columns_of(populated)
    said = StringIO()
    with held(populated, "block") as holder, let_go_when(holder, lambda: "Trying again" in said.getvalue()):
        populated.done("migrate", "-v0", errors=said)
    again = digests(populated, old)
    advisers.append(populated.sees_all(ADVISERS["consent"]))
    patient.undo()
    whole = indexes(populated)
    return Journey(newest, old, there, there_apart, refusal, while_locked, said.getvalue(), again, whole, advisers)


@contextmanager
def held(populated: Drill, table: str) -> Iterator[psycopg.Connection[Any]]:
    """Read from a table in a transaction that stays open, as a long report does."""
    with psycopg.connect(populated.environment["DATABASE_OWNER_URL"]) as holder:
        holder.execute(f"LOCK TABLE {table} IN ACCESS SHARE MODE")
        yield holder
        holder.rollback()


@contextmanager
def let_go_when(holder: psycopg.Connection[Any], seen: Callable[[], bool]) -> Iterator[None]:
    over = threading.Event()

    def watch() -> None:
        while not seen() and not over.wait(0.05):
            pass
        holder.rollback()

    watcher = threading.Thread(target=watch)
    watcher.start()
    try:
        yield
    finally:
        over.set()
        watcher.join()


def indexes(populated: Drill) -> dict[str, bool]:
    return dict(
        populated.sees_all(
            "SELECT indexrelid::regclass::text, indisvalid FROM pg_index WHERE indrelid > 16384 "
            "AND indexrelid::regclass::text NOT LIKE 'pg_toast.%'"
        )
    )


def test_there_is_something_to_keep(journey):
    assert {"farm", "block", "vine", "dormant_record", "pruning_target"} <= journey.old.keys()
    assert (journey.back["dormant_record"].rows, journey.back["pruning_target"].rows) == (9, 9)


def test_going_back_keeps_every_value_of_every_old_column(journey):
    assert {pair: found for pair, found in journey.back_apart.items() if journey.newest[pair] != found} == {}


def test_going_forward_again_keeps_every_row_of_every_old_column(journey):
    assert journey.again == journey.back


def test_an_adviser_is_let_in_by_role_or_by_consent_all_the_way(journey):
    assert len(journey.advisers[0]) > 0
    assert journey.advisers[0] == journey.advisers[1] == journey.advisers[2]


def test_every_index_is_whole_afterwards(journey):
    assert [name for name, valid in journey.indexes.items() if not valid] == []


def test_a_lock_that_is_never_let_go_ends_in_a_sentence_with_nothing_half_done(journey):
    assert "Find it in pg_stat_activity" in journey.refusal
    assert journey.while_locked == journey.old


def test_a_migration_that_meets_a_lock_says_so_and_tries_again(journey):
    assert "Another session holds a lock that a migration needs; nobody is kept waiting" in journey.said


def test_indexes_beside_writers_wait_for_readers_and_finish_what_an_interrupted_run_left(populated):
    """One index was built, and one begun, when the machine stopped; a report runs for longer than a lock may take."""
    whole = indexes(populated)
    populated.done("migrate", "records", "0007_accounts", "-v0")
    with psycopg.connect(populated.environment["DATABASE_OWNER_URL"], autocommit=True) as owner:
        owner.execute("CREATE INDEX CONCURRENTLY block_by_change ON block (farm_id, change_position, id)")
        with pytest.raises(psycopg.errors.UniqueViolation):  # a build that fails leaves what a killed one leaves
            owner.execute("CREATE UNIQUE INDEX CONCURRENTLY vine_by_change ON vine (farm_id)")
    assert indexes(populated)["vine_by_change"] is False
    said = StringIO()
    with held(populated, "vine") as reader, let_go_when(reader, lambda: bool(populated.sees_all(HAS_WAITED))):
        populated.done("migrate", "-v0", errors=said)
    assert said.getvalue() == "", "it did not wait, but tried again"
    assert indexes(populated) == whole


def findings(sql: str, **told: Any) -> list[str]:
    migration = SimpleNamespace(app_label="records", name="0009_planted", **told)
    return list(checker.findings([(migration, sql)]))


@pytest.mark.parametrize(
    ("sql", "rule"),
    [
        ('CREATE INDEX "x" ON "block" ("name")', "require-concurrent-index-creation"),
        ('ALTER TABLE "block" ADD COLUMN "x" integer NOT NULL', "adding-required-field"),
        ('ALTER TABLE "block" ALTER COLUMN "name" SET NOT NULL', "adding-not-nullable-field"),
        ('ALTER TABLE "block" ALTER COLUMN "name" TYPE text', "changing-column-type"),
        ('ALTER TABLE "block" ADD CONSTRAINT "x" CHECK ("name" <> \'\')', "constraint-missing-not-valid"),
        ('ALTER TABLE "block" ADD CONSTRAINT "x" UNIQUE ("name")', "disallowed-unique-constraint"),
        (
            'ALTER TABLE "block" ADD CONSTRAINT "x" FOREIGN KEY ("a") REFERENCES "b" ("a")',
            "adding-foreign-key-constraint",
        ),
        ('ALTER TABLE "block" ADD COLUMN "x" uuid DEFAULT uuidv7() NOT NULL', "adding-field-with-default"),
        ('ALTER TABLE "block" DROP COLUMN "name"', "ban-drop-column"),
    ],
)
def test_what_would_stop_a_serving_database_is_found_and_named_with_its_migration(sql, rule):
    told = findings(sql)
    assert any(line.startswith(f"records.0009_planted: {rule}: ") for line in told), told
    assert findings(sql, safe_because=dict.fromkeys((line.split(": ")[1] for line in told), "a reason")) == []


@pytest.mark.parametrize(
    "sql",
    [
        'CREATE INDEX CONCURRENTLY "x" ON "block" ("name")',
        'ALTER TABLE "block" ADD COLUMN "x" integer NULL',
        'ALTER TABLE "block" ADD COLUMN "x" integer DEFAULT 0 NOT NULL',
        'ALTER TABLE "block" ADD CONSTRAINT "x" CHECK ("name" <> \'\') NOT VALID',
        'CREATE TABLE "new" ("id" uuid PRIMARY KEY);\nALTER TABLE "new" ADD COLUMN "farm_id" uuid NOT NULL REFERENCES "farm" ("id")'
        ';\nCREATE INDEX "x" ON "new" ("farm_id");\nALTER TABLE "new" ADD CONSTRAINT "y" CHECK ("id" IS NOT NULL)',
    ],
)
def test_what_stops_nobody_passes_and_so_does_anything_on_a_table_of_the_same_release(sql):
    assert findings(sql) == []


def test_the_gate_asks_for_it():
    assert "uv run python .ci/migrations.py" in (Path(ROOT) / ".ci" / "run").read_text()
