"""Prepare a database for the benchmark: a farm, a block of vines and their weights; prints farm, block and key."""

from __future__ import annotations

import os

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "vineyard.settings")


def main() -> None:
    django.setup()
    from django.db import connection, transaction

    from records.access import Caller, enter, open_farm
    from records.models import Cultivar, Person
    from records.services.farms import create_farm
    from records.services.keys import make_key
    from records.services.vineyards import create_block, create_row, plant_row
    from vineyard.database_owner import as_owner
    from vineyard.starting import prepare_database

    prepare_database(lambda _: None)
    person = Person.objects.create_user("bench@example.test", "Bench")
    _, key = make_key(person, label="bench", scopes=["read", "record", "manage"])
    with transaction.atomic():
        caller = Caller(person)
        enter(caller)
        farm, _ = create_farm(caller, None, {"name": "Bench", "hemisphere": "north", "time_zone": "America/New_York"})
        opened = open_farm(caller, farm.pk)
        block = create_block(opened, None, {"name": "Bench", "cultivar": Cultivar.objects.get(code="concord")}).row
        for number in range(1, 101):
            plant_row(opened, create_row(opened, block, None, number).row, int(os.environ["BENCH_VINES"]) // 100)
        with connection.cursor() as cursor:
            cursor.execute(_WEIGHTS, [farm.pk])
    with as_owner() as owner, owner.cursor() as cursor:
        cursor.execute("ANALYZE")  # both sides with the statistics that a table has after a minute
    print(farm.pk, block.pk, key)


_WEIGHTS = """
    INSERT INTO dormant_record (farm_id, block_id, vine_id, season, pruning_weight_value, pruning_weight_unit,
        pruning_weight_kg, scale_resolution_value, scale_resolution_unit, scale_resolution_kg, nodes_retained, scale,
        observed_at, observed_offset_minutes, pruner, note, app_name, device, source, created_digest)
    SELECT farm_id, block_id, id, 2027, pounds, '[lb_av]', pounds * 0.45359237, 0.25, '[lb_av]', 0.25 * 0.45359237, 40,
        'spring', now(), 0, '', '', '', '', 'api', ''
    FROM (SELECT *, round((0.8 + random() * 4)::numeric, 2) AS pounds FROM vine) AS weighed WHERE farm_id = %s
"""

if __name__ == "__main__":
    main()
