"""Statements whose plans are kept: they give what Django's own give, and no change of a table outlives its request."""

from __future__ import annotations

import pytest
from django.db import OperationalError, connection, transaction

from records.access import enter, open_farm
from records.models import Farm, PruningFormula
from records.planned import ask


@pytest.mark.django_db
def test_a_farm_is_opened_with_all_that_is_on_record_of_it_and_of_its_formula(cast):
    for chosen in (False, True):
        _choose(cast, own=chosen)
        enter(cast.owner.caller)
        farm = open_farm(cast.owner.caller, cast.farm.pk).farm
        on_record = Farm.objects.select_related("pruning_formula").get(pk=cast.farm.pk)
        assert _members(farm) == _members(on_record)
        assert (farm.pruning_formula is not None) == chosen
        if chosen:
            assert _members(farm.pruning_formula) == _members(on_record.pruning_formula)


def _choose(cast, *, own):
    enter(cast.owner.caller)
    opened = open_farm(cast.owner.caller, cast.farm.pk)
    formula = PruningFormula.objects.filter(owner_farm=None, owner_program=None).first() if own else None
    Farm.objects.filter(pk=opened.farm.pk).update(pruning_formula=formula)


def _members(row):
    return {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields}


@pytest.mark.django_db(transaction=True)
def test_a_plan_that_a_migration_made_wrong_ends_one_request_and_not_those_after_it(transactional_db):
    with connection.cursor() as cursor:
        cursor.execute("CREATE TEMPORARY TABLE written AS SELECT 1::integer AS number")
    assert ask("SELECT number FROM written", []) == [(1,)]
    with connection.cursor() as cursor:  # so that the driver does not see it, as with another's migration
        cursor.execute("DO 'BEGIN ALTER TABLE written ALTER COLUMN number TYPE bigint; END'")
    with pytest.raises(OperationalError), transaction.atomic():
        ask("SELECT number FROM written", [])
    with transaction.atomic():
        assert ask("SELECT 2", []) == [(2,)]
