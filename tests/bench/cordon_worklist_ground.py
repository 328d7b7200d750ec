"""The ground of the worklist's figure: two farms, of one block and of a hundred; every third vine has a case."""

from __future__ import annotations

import os
import sys
from typing import Any

import django
import orjson

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "vineyard.settings")


def prepare() -> None:
    """Make the farms; print them with their vines and a key, as JSON."""
    from django.db import connection, transaction

    from records.access import Caller, enter, open_farm
    from records.models import Person
    from records.services.farms import create_farm
    from records.services.keys import make_key
    from tests.bench.cordon_worklist import A_BLOCK, BLOCKS
    from vineyard.starting import prepare_database

    prepare_database(lambda _: None)
    person = Person.objects.create_user("bench@example.test", "Bench")
    _, key = make_key(person, label="bench", scopes=["read", "record", "manage"])
    caller, grounds = Caller(person), []
    for name, blocks in (("Small", 1), ("Large", BLOCKS)):
        with transaction.atomic(), connection.cursor() as cursor:
            enter(caller)
            told = {"name": name, "hemisphere": "north", "time_zone": "America/New_York"}
            farm, _ = create_farm(caller, None, told)
            open_farm(caller, farm.pk)
            named: dict[str, Any] = {"farm": farm.pk, "blocks": blocks, "rows": A_BLOCK // 100}
            for statement in (_BLOCKS, _ROWS, _VINES, _CASES, _SETTINGS):
                cursor.execute(statement, named)
            cursor.execute(_LISTED, named)
            vines = cursor.fetchall()
        grounds.append({"farm": str(farm.pk), "block": vines[-1][1], "vines": [vine for vine, _ in vines]})
    print(orjson.dumps({"key": key, "grounds": grounds}).decode())


def analyse() -> None:
    """Give the tables the statistics that they have after a minute."""
    from vineyard.database_owner import as_owner

    with as_owner() as owner, owner.cursor() as cursor:
        cursor.execute("ANALYZE")
    print("{}")


_BLOCKS = """
    INSERT INTO block (farm_id, name, cultivar_as_named, rootstock, training, shelter, note, created_digest)
    SELECT %(farm)s, 'Block ' || lpad(number::text, 3, '0'), '', '', 'not_stated', 'open_field', '', ''
    FROM generate_series(1, %(blocks)s) AS number
"""
_ROWS = """
    INSERT INTO row (farm_id, block_id, number, created_digest)
    SELECT farm_id, id, number, '' FROM block, generate_series(1, %(rows)s) AS number WHERE farm_id = %(farm)s
"""
_VINES = """
    INSERT INTO vine (farm_id, block_id, row_id, row_number, place, label, rootstock, created_digest)
    SELECT farm_id, block_id, id, number, place, '', '', ''
    FROM row, generate_series(1, 100) AS place WHERE farm_id = %(farm)s ORDER BY block_id, number, place
"""
_CASES = """
    INSERT INTO cordon_case (farm_id, vine_id, block_id, scope, cordon, reasons, noticed_on, step, step_number, step_on,
        step_season, note, created_digest, candidate_springs_from, candidate_ripeness)
    SELECT farm_id, id, block_id, 'cordon', 'left', '{seen}', '2024-01-17', 'candidate_chosen', 2, '2025-07-08', 2025,
        '', '', 'head', ''
    FROM vine WHERE farm_id = %(farm)s AND ((row_number - 1) * 100 + place - 1) %% 3 = 0
"""
_SETTINGS = """
    INSERT INTO cordon_settings (farm_id, blank_share_percent, minutes_a_task, created_digest)
    VALUES (%(farm)s, 40, '{"lay_down": 12}', '')
"""
_LISTED = """
    SELECT v.id::text, v.block_id::text FROM vine v JOIN block b ON b.farm_id = v.farm_id AND b.id = v.block_id
    WHERE v.farm_id = %(farm)s ORDER BY b.name, v.row_number, v.place
"""

if __name__ == "__main__":
    django.setup()
    {"prepare": prepare, "analyse": analyse}[sys.argv[1]]()
