"""The reference: the same rows, fetched with psycopg and written with orjson as the same kind of body, a list of objects.

Nothing is computed and nobody is asked who they are.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from typing import Any

import orjson
import psycopg
from psycopg.rows import dict_row

FARM, BLOCK = os.environ["BENCH_FARM"], os.environ["BENCH_BLOCK"]
SQL = """
    SELECT v.id AS vine, v.row_number, v.place, v.label, d.id AS record, d.pruning_weight_kg::float8 AS pruning_weight_kg,
           d.scale_resolution_kg::float8 AS scale_resolution_kg, d.nodes_retained
    FROM vine v LEFT JOIN dormant_record d
         ON d.farm_id = v.farm_id AND d.block_id = v.block_id AND d.vine_id = v.id AND d.season = 2027
    WHERE v.farm_id = %s AND v.block_id = %s ORDER BY v.row_number, v.place
"""
connection = psycopg.connect(os.environ["DATABASE_URL"], autocommit=True)
connection.execute("SELECT set_config('app.farms', %s, false)", [FARM])


def application(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
    """Answer every request with every row."""
    rows = connection.cursor(binary=True, row_factory=dict_row).execute(SQL, [FARM, BLOCK]).fetchall()
    body = orjson.dumps(rows)
    start_response("200 OK", [("Content-Type", "application/json"), ("Content-Length", str(len(body)))])
    return [body]
