"""A day's weighings of every vine of the bench's farm, as a field app sends them: one line of JSON a vine."""

from __future__ import annotations

import random
import uuid
from datetime import UTC, datetime, timedelta
from typing import Any, Final

import orjson

from tests.bench.bulk_ground import TRIAL_SEASON, Ground

OFFSET: Final = "-05:00"
BEGAN: Final = datetime(TRIAL_SEASON, 1, 16, 13, tzinfo=UTC)


def weighings(ground: Ground, *, seed: int = 1) -> list[dict[str, Any]]:
    """Give one record a vine, row by row, with ids that the app made when it weighed (UUID version 7)."""
    chosen = random.Random(seed)
    return [_weighing(vine, number, chosen) for number, vine in enumerate(_vines(ground))]


def _vines(ground: Ground) -> list[str]:
    with ground.connect() as connection:
        found = connection.execute(
            "SELECT id::text FROM vine WHERE farm_id = %s ORDER BY block_id, row_number, place", [ground.farm]
        )
        return [str(vine) for (vine,) in found]


def _weighing(vine: str, number: int, chosen: random.Random) -> dict[str, Any]:
    at = BEGAN + timedelta(milliseconds=120 * number)
    local = (at - timedelta(hours=5)).replace(tzinfo=None)
    return {
        "kind": "dormant_record",
        "id": _uuid7(at, chosen),
        "vine": vine,
        "observed_at": f"{local.isoformat(timespec='milliseconds')}{OFFSET}",
        "pruning_weight": {"value": chosen.randrange(40, 480) / 100, "unit": "[lb_av]"},
        "scale": "spring",
        "scale_resolution": {"value": 0.25, "unit": "[lb_av]"},
        "nodes_retained": chosen.randrange(20, 80),
    }


def _uuid7(at: datetime, chosen: random.Random) -> str:
    """Give a UUID of version 7 (RFC 9562): 48 bits of milliseconds, then chance."""
    milliseconds = int(at.timestamp() * 1000)
    number = milliseconds << 80 | 0x7 << 76 | chosen.getrandbits(12) << 64 | 0b10 << 62 | chosen.getrandbits(62)
    return str(uuid.UUID(int=number))


def as_lines(records: list[dict[str, Any]]) -> bytes:
    """Write records as NDJSON."""
    return b"".join(orjson.dumps(record, option=orjson.OPT_APPEND_NEWLINE) for record in records)
