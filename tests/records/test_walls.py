"""The walls between farms, asked of the database itself."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.db import IntegrityError, ProgrammingError, connection, transaction

from records.access import enter, open_farm
from records.constraints import CONSTRAINTS
from records.context import NoTransaction, set_context
from records.models import BalanceRange, Block, Farm, PruningFormula, RecordChange, Row, Vine
from records.services.vineyards import change_block, create_block, create_row, plant_row

pytestmark = pytest.mark.django_db

#: Tables that carry a farm's id but stand outside row-level security, each with its reason.
OUTSIDE = {"job_ticket": "one sweeper wakes the jobs of every farm; the ticket holds nothing but two ids"}


def rows(sql: str) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(sql)
        return list(cursor.fetchall())


def tables_with_a_farm() -> set[str]:
    found = rows(
        "SELECT table_name FROM information_schema.columns WHERE column_name = 'farm_id' AND table_schema = 'public'"
    )
    return {name for (name,) in found} - set(OUTSIDE)


@pytest.fixture
def two_blocks(cast):
    """A block with vines on each of the two farms."""
    made = {}
    for player, farm in ((cast.owner, cast.farm), (cast.stranger, cast.other_farm)):
        enter(player.caller)
        opened = open_farm(player.caller, farm.pk)
        block = create_block(opened, None, {"name": "Lower Terrace"}).row
        plant_row(opened, create_row(opened, block, None, 1).row, 3)
        made[farm.pk] = opened, block
    return made


def test_every_table_of_a_farm_forces_row_security_with_a_policy():
    sql = "SELECT relname FROM pg_class WHERE relrowsecurity AND relforcerowsecurity"
    secured = {name for (name,) in rows(sql)}
    policed = {name for (name,) in rows("SELECT tablename FROM pg_policies")}
    assert tables_with_a_farm() - secured == set()
    assert tables_with_a_farm() - policed == set()
    assert "farm" in secured & policed


def test_every_key_of_a_farm_table_can_be_spread_over_machines_by_farm():
    """A distributed table's primary, unique and foreign keys must hold its distribution column."""
    sql = """
        SELECT conrelid::regclass::text, conname FROM pg_constraint c
        WHERE contype IN ('p', 'u') AND NOT EXISTS (
            SELECT FROM pg_attribute a
            WHERE a.attrelid = c.conrelid AND a.attnum = ANY (c.conkey) AND a.attname = 'farm_id')
    """
    shared = tables_with_a_farm()
    assert [(table, name) for table, name in rows(sql) if table in shared] == []


def test_every_index_of_a_farm_table_leads_with_the_farm():
    sql = """
        SELECT i.indrelid::regclass::text, i.indexrelid::regclass::text FROM pg_index i
        JOIN pg_attribute a ON a.attrelid = i.indrelid AND a.attnum = i.indkey[0]
        WHERE a.attname <> 'farm_id'
    """
    shared = tables_with_a_farm()
    leading_otherwise = {index for table, index in rows(sql) if table in shared}
    assert leading_otherwise == set()


def test_every_reference_between_rows_of_a_farm_holds_the_farm_on_both_sides():
    sql = """
        SELECT c.conrelid::regclass::text, c.confrelid::regclass::text, c.conname,
               (SELECT a.attname FROM pg_attribute a WHERE a.attrelid = c.conrelid AND a.attnum = c.conkey[1])
        FROM pg_constraint c WHERE c.contype = 'f'
    """
    shared = tables_with_a_farm()
    loose = [name for own, other, name, first in rows(sql) if own in shared and other in shared and first != "farm_id"]
    assert loose == []


def test_every_constraint_has_a_sentence_for_whoever_meets_it():
    sql = """
        SELECT conname FROM pg_constraint WHERE contype IN ('c', 'f', 'u') AND conrelid::regclass::text = ANY (%s)
        UNION SELECT indexname FROM pg_indexes WHERE tablename = ANY (%s) AND indexdef LIKE 'CREATE UNIQUE%%'
    """
    from django.apps import apps

    from balance.constraints import CONSTRAINTS as BALANCE

    ours = [model._meta.db_table for model in apps.get_models() if model._meta.app_label in {"records", "balance"}]
    with connection.cursor() as cursor:
        cursor.execute(sql, [ours, ours])
        found = {name for (name,) in cursor.fetchall()}
    made_by_django = ("_pkey", "_check", "_uniq", "_key", "_not_null")
    internal = {name for name in found if name.endswith(made_by_django) or "_fk_" in name or "_of_one_" in name}
    assert found - internal - set(CONSTRAINTS) - set(BALANCE) == set()


def test_a_constraint_points_at_one_member_of_the_body():
    """Two names would be read as a member within a member, at a place that no body has."""
    from balance.constraints import CONSTRAINTS as BALANCE

    assert {name: place for name, (_, place, _) in {**CONSTRAINTS, **BALANCE}.items() if len(place) > 1} == {}


def test_without_a_context_no_row_of_any_farm_is_seen(two_blocks):
    set_context(farms=None, person=None)
    assert [model.objects.count() for model in (Farm, Block, Row, Vine)] == [0, 0, 0, 0]


def test_with_the_first_wall_gone_the_second_still_shows_only_the_open_farm(two_blocks, cast):
    """An unfiltered query is what a forgotten filter would send."""
    set_context(farms=[cast.farm.pk])
    assert set(Block.objects.values_list("farm_id", flat=True)) == {cast.farm.pk}
    assert Vine.objects.count() == 3


def test_a_row_for_a_farm_that_is_not_open_is_refused_by_the_database(two_blocks, cast):
    set_context(farms=[cast.farm.pk])
    with pytest.raises(ProgrammingError, match="row-level security"), transaction.atomic():
        Block.objects.create(farm_id=cast.other_farm.pk, name="Smuggled")


def test_a_row_that_points_into_another_farm_is_refused_by_the_database(two_blocks, cast):
    _, foreign_block = two_blocks[cast.other_farm.pk]
    set_context(farms=[cast.farm.pk])
    with pytest.raises(IntegrityError, match="row_block_of_the_same_farm"), transaction.atomic():
        Row.objects.create(farm_id=cast.farm.pk, block_id=foreign_block.pk, number=9)


OWNED = pytest.mark.parametrize("model", [PruningFormula, BalanceRange])


def own_row(model: Any, code: str, **owner: Any) -> Any:
    """Give a row of a catalogue, not stored yet, that is somebody's own."""
    said = {"code": code, "label": code, "source": "a test", "source_mark": "farm", **owner}
    if model is BalanceRange:
        return BalanceRange(**said, measure="mean_cane_weight", unit="g", low=20)
    unit = {"weight_unit_value": 1, "weight_unit": "kg", "weight_unit_kg": 1}
    return PruningFormula(**said, **unit, kind="fixed", first_nodes=80, further_nodes=0)


def owned_codes(model: Any) -> set[str]:
    """Give the codes that an unfiltered query shows beside the shared ones."""
    return set(model.objects.exclude(owner_farm=None, owner_program=None).values_list("code", flat=True))


@pytest.fixture
def owned(cast):
    """An own formula and an own range of each farm and of the program, each written in its owner's context."""
    for model in (PruningFormula, BalanceRange):
        for farm, code in ((cast.farm, "own-first"), (cast.other_farm, "own-other")):
            set_context(farms=[farm.pk], person=None)
            own_row(model, code, owner_farm=farm).save(force_insert=True)
        set_context(farms=None, person=cast.lead.person.pk)
        own_row(model, "program-theirs", owner_program=cast.program).save(force_insert=True)


@OWNED
def test_with_the_first_wall_gone_own_rows_of_a_catalogue_show_to_their_owners_alone(model, owned, cast):
    for context, shown in (
        ({"farms": None, "person": None}, set()),
        ({"farms": [cast.farm.pk], "person": None}, {"own-first", "program-theirs"}),
        ({"farms": [cast.other_farm.pk], "person": None}, {"own-other"}),
        ({"farms": None, "person": cast.lead.person.pk}, {"program-theirs"}),
        ({"farms": None, "person": cast.owner.person.pk}, set()),
        ({"farms": [cast.other_farm.pk], "person": cast.stranger.person.pk}, {"own-other"}),
    ):
        set_context(**context)
        assert owned_codes(model) == shown, context


@OWNED
@pytest.mark.parametrize("whose", ["another farm's", "the program's", "everybody's by another name"])
def test_a_farm_writes_no_catalogue_row_that_is_not_its_own(model, whose, cast):
    set_context(farms=[cast.farm.pk], person=cast.owner.person.pk)
    row = {
        "another farm's": own_row(model, "own-smuggled", owner_farm=cast.other_farm),
        "the program's": own_row(model, "program-smuggled", owner_program=cast.program),
        "everybody's by another name": own_row(model, "own-smuggled"),
    }[whose]
    with (
        pytest.raises((ProgrammingError, IntegrityError), match="row-level security|named_for_its_owner"),
        transaction.atomic(),
    ):
        row.save(force_insert=True)


@OWNED
@pytest.mark.parametrize("change", ["UPDATE {} SET label = 'other'", "DELETE FROM {}"])
def test_a_version_in_a_catalogue_can_be_neither_changed_nor_removed(model, change):
    with (
        pytest.raises(ProgrammingError, match="permission denied"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(change.format(model._meta.db_table))


def test_two_farms_may_use_one_id_without_learning_of_each_other(cast):
    shared_id = uuid.uuid4()
    for player, farm in ((cast.owner, cast.farm), (cast.stranger, cast.other_farm)):
        enter(player.caller)
        stored = create_block(open_farm(player.caller, farm.pk), shared_id, {"name": "Same id"})
        assert stored.created


def test_the_context_ends_with_its_transaction(cast):
    with transaction.atomic():
        enter(cast.owner.caller)
    with pytest.raises(KeyError):
        set_context(farm=[cast.farm.pk])


@pytest.mark.django_db(transaction=True)
def test_a_context_outside_a_transaction_is_refused():
    with pytest.raises(NoTransaction):
        set_context(farms=[uuid.uuid4()])


def test_a_change_keeps_the_version_that_it_replaces_with_its_reason(two_blocks, cast):
    opened, block = two_blocks[cast.farm.pk]
    enter(cast.owner.caller)
    opened = open_farm(cast.owner.caller, cast.farm.pk)
    change_block(opened, block.pk, {"name": "Upper Terrace"}, version=1, reason="misnamed on the map")
    kept = RecordChange.objects.for_farm(cast.farm).get(entity="block", entity_id=block.pk)
    assert (kept.version, kept.old_row["name"], kept.reason) == (1, "Lower Terrace", "misnamed on the map")
    assert kept.person_id == cast.owner.person.pk


@pytest.mark.parametrize("sql", ["UPDATE record_change SET reason = 'other'", "DELETE FROM record_change"])
def test_kept_versions_can_be_neither_changed_nor_removed(sql):
    with (
        pytest.raises(ProgrammingError, match="permission denied"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(sql)


def test_the_serving_role_cannot_remove_a_record():
    with (
        pytest.raises(ProgrammingError, match="permission denied"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute("DELETE FROM dormant_record")


def test_the_role_that_serves_is_neither_superuser_nor_owner_and_cannot_bypass():
    assert rows("SELECT rolsuper, rolbypassrls FROM pg_roles WHERE rolname = current_user") == [(False, False)]
    assert rows("SELECT count(*) FROM pg_tables WHERE schemaname = 'public' AND tableowner = current_user") == [(0,)]
