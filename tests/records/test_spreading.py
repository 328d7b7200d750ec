"""The schema can be spread over machines by farm with Citus; what would need care then is named here, and nothing else does.

What Citus asks (its documentation, "Constraints", "Reference tables", "Triggers on Distributed Tables", and its source:
``commands/trigger.c``, ``commands/foreign_constraint.c``, ``shared_library_init.c``): each unique key of a distributed
table holds the distribution column; a foreign key goes from a distributed table to one distributed alike, over that
column on both sides, or to a reference table, and never from a reference table to a distributed one; triggers stand
behind a setting called unsafe; settings of a transaction reach the workers by ``SET LOCAL`` alone, and only where
``citus.propagate_set_commands`` says so.  It was not run here: no wheel holds it.
"""

from __future__ import annotations

from typing import Any, Final

import pytest
from django.db import connection

from tests.records.test_walls import OUTSIDE

pytestmark = pytest.mark.django_db

#: Copied whole to every machine: small, and read beside any farm's rows.
REFERENCE: Final = {
    "farm": "a row a farm; catalogues point to it, and no reference table may point to a distributed one",
    "person": "records say who wrote them",
    "api_key": "records say by which key",
    "program": "farms take part in it",
    "program_membership": "row-level security of the catalogues asks it",
    "cultivar": "a catalogue",
    "cultivar_group": "a catalogue",
    "pruning_formula": "a catalogue; a farm's own rows are few",
    "balance_range": "a catalogue; a farm's own rows are few",
    "benchmark_snapshot": "figures of many farms that were let out",
    "benchmark_cell": "figures of many farms that were let out",
    "program_report": "of many farms",
    "program_report_file": "of many farms",
    "program_report_schedule": "of a program",
    "erasure": "farms that must not come back, on any machine",
    "feed_epoch": "one row",
}
#: Stays on the machine that is asked: nothing of a farm's points to it.
#: So do the tables with a farm that stand outside the walls: one sweeper reads all of ``job_ticket``.
LOCAL: Final = {"auth_group", "auth_group_permissions", "auth_permission", "django_admin_log", "django_content_type",
                "django_migrations", "django_session", "person_groups", "person_user_permissions"}  # fmt: skip
#: Functions that triggers call, each with what it needs on a shard.  All of them read and write rows of the farm of the
#: row that fired them, which lie on the same machine, unless it says otherwise.
TRIGGERS: Final = {
    "keep_its_place": "the place in the feed is the transaction's number on that machine: see change_position",
    "keep_replaced_version": "reads the context, which must have reached the worker",
    "mark_block_seasons": "same farm",
    "mark_cases": "same farm",
    "mark_whole_blocks": "same farm",
    "mark_this_block": "same farm",
    "settle_at_commit": "same farm; its advisory lock is one machine's, which is where all writers of the block are",
    "note_summary_change": "same farm",
    "mark_blocks_of_farm": "stands on a reference table: it would fire once a machine; to be called by the service instead",
    "refuse_erased_farm": "stands on a reference table and reads one: fires once a machine, harmless",
    "benchmarks_end_with_consent": "writes to reference tables from a distributed one: to be called by the service instead",
    "benchmarks_end_with_farm": "writes to reference tables from a distributed one: to be called by the service instead",
}
#: Functions that something beside a trigger calls, likewise.
FUNCTIONS: Final = {
    "context_farms": "reads app.farms: records.context would have to send SET LOCAL instead of set_config",
    "context_person": "reads app.person, likewise",
    "context_programs": "reads app.programs, likewise",
    "context_reads_register": "reads app.register, likewise",
    "change_position": "counts one machine's transactions: a farm's feed stays in order where the farm stays; a farm that "
    "moves begins an epoch, as after a restore; a feed over farms of several machines would need a cursor a machine",
    "change_offset": "as change_position",
    "settle_blocks": "to be called on the machine of the farm (a distributed function, by farm)",
    "sum_up_block_season": "called by settle_blocks",
    "erase_farm": "finds tables in the catalogue: on the coordinator it must not find shards",
    "tables_of_farms": "as erase_farm",
}
#: References that change what points to them.
ACTIONS: Final = {
    "vine_row_of_the_same_farm": "ON UPDATE CASCADE over the farm's column, for a vine that moves to another block: Citus "
    "refuses the action, the service would have to move vines before their row",
    "pruning_formula_of_a_farm": "between reference tables: allowed",
    "balance_range_of_a_farm": "between reference tables: allowed",
}


def asked(sql: str) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(sql)
        return list(cursor.fetchall())


def distributed() -> set[str]:
    found = asked(
        "SELECT relname FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid AND a.attname = 'farm_id' "
        "WHERE c.relkind IN ('r', 'p') AND c.relnamespace = 'public'::regnamespace"
    )
    return {name for (name,) in found} - set(OUTSIDE)


def test_every_table_is_spread_by_farm_or_said_to_be_copied_or_to_stay():
    tables = {name for (name,) in asked("SELECT tablename FROM pg_tables WHERE schemaname = 'public'")}
    assert tables - distributed() == set(REFERENCE) | LOCAL | set(OUTSIDE)


def test_the_farm_of_a_row_is_never_missing():
    """A distribution column holds no null."""
    nullable = asked(
        "SELECT table_name FROM information_schema.columns "
        "WHERE table_schema = 'public' AND column_name = 'farm_id' AND is_nullable = 'YES'"
    )
    assert nullable == []


def test_whatever_an_index_enforces_on_rows_of_a_farm_it_enforces_within_the_farm():
    """Unique keys, with a condition or without, and exclusions."""
    found = asked("""
        SELECT c.relname, i.indexrelid::regclass::text, (
            SELECT a.attname FROM pg_attribute a WHERE a.attrelid = i.indrelid AND a.attnum = i.indkey[0])
        FROM pg_index i JOIN pg_class c ON c.oid = i.indrelid
        WHERE (i.indisunique OR i.indisexclusion) AND c.relnamespace = 'public'::regnamespace
    """)
    spread = distributed()
    assert [(table, index) for table, index, first in found if table in spread and first != "farm_id"] == []


def test_a_reference_between_rows_of_farms_leads_with_the_farm_on_both_sides():
    found = asked("""
        SELECT own.relname, other.relname, k.conname,
               (SELECT attname FROM pg_attribute WHERE attrelid = k.conrelid AND attnum = k.conkey[1]),
               (SELECT attname FROM pg_attribute WHERE attrelid = k.confrelid AND attnum = k.confkey[1])
        FROM pg_constraint k JOIN pg_class own ON own.oid = k.conrelid JOIN pg_class other ON other.oid = k.confrelid
        WHERE k.contype = 'f'
    """)
    spread = distributed()
    between = [each for each in found if each[0] in spread and each[1] in spread]
    assert len(between) > 20
    assert [name for _, _, name, mine, theirs in between if (mine, theirs) != ("farm_id", "farm_id")] == []
    into_others = {(own, other) for own, other, *_ in found if own in spread and other not in spread}
    assert {other for _, other in into_others} <= set(REFERENCE)


def test_nothing_that_every_machine_has_points_to_what_only_one_has():
    found = asked("""
        SELECT own.relname, other.relname
        FROM pg_constraint k JOIN pg_class own ON own.oid = k.conrelid JOIN pg_class other ON other.oid = k.confrelid
        WHERE k.contype = 'f'
    """)
    spread = distributed()
    assert [(own, other) for own, other in found if own not in spread and other in spread] == []
    assert [(own, other) for own, other in found if own in REFERENCE and other in LOCAL] == []


def test_the_references_that_change_what_points_to_them_are_known():
    found = asked(
        "SELECT conname FROM pg_constraint WHERE contype = 'f' AND (confupdtype <> 'a' OR confdeltype <> 'a')"
    )
    assert {name for (name,) in found} == set(ACTIONS)


def test_what_triggers_and_functions_would_need_is_known():
    called = asked(
        "SELECT DISTINCT proname FROM pg_trigger t JOIN pg_proc p ON p.oid = t.tgfoid WHERE NOT tgisinternal"
    )
    assert {name for (name,) in called} == set(TRIGGERS)
    all_of_ours = asked("SELECT proname FROM pg_proc WHERE pronamespace = 'public'::regnamespace")
    assert {name for (name,) in all_of_ours} - set(TRIGGERS) == set(FUNCTIONS)


def test_no_column_counts_over_all_farms():
    """A sequence would be asked of one machine by all."""
    found = asked("""
        SELECT table_name FROM information_schema.columns
        WHERE table_schema = 'public' AND (column_default LIKE 'nextval%' OR is_identity = 'YES')
    """)
    assert {name for (name,) in found} <= LOCAL
