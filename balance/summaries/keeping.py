"""Bring what is kept of blocks and seasons up to date: what a reader does first, and what builds it anew."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from typing import Final

from django.db import connection

from records.kinds import KINDS

_OPEN: Final = "SELECT farm_id, array_agg(DISTINCT block_id) FROM block_season_mark WHERE farm_id = ANY(%s) GROUP BY 1"
_SETTLE: Final = "SELECT settle_blocks(%s, %s, true)"
#: The seasons that a farm's records and cases tell of.
_SEASONS: Final = " UNION ".join(
    [
        *(f"SELECT block_id, season FROM {name} WHERE farm_id = %(farm)s" for name in KINDS),  # noqa: S608 - joined from constants
        "SELECT block_id, step_season FROM cordon_case WHERE farm_id = %(farm)s",
        "SELECT block_id, season FROM block_season WHERE farm_id = %(farm)s",
    ]
)
_MARK_ALL: Final = f"""
    INSERT INTO block_season_mark (farm_id, block_id, season, written_by)
    SELECT %(farm)s, block_id, season, pg_current_xact_id()::text::bigint FROM ({_SEASONS}) AS seasons
    ON CONFLICT DO NOTHING
"""  # noqa: S608 - joined from constants


def settle(farms: Iterable[uuid.UUID]) -> int:
    """Sum up what is marked in these farms, which are open; give how many seasons of blocks that were.

    Usually nothing is: whoever writes a record sums up before the commit, unless another writer of the block was at it.
    """
    listed = sorted(set(farms))
    with connection.cursor() as cursor:
        cursor.execute(_OPEN, [listed])
        marked = cursor.fetchall()
        settled = 0
        for farm, blocks in sorted(marked):
            for block in sorted(blocks):  # a statement each, so that none runs into the limit of time
                cursor.execute(_SETTLE, [farm, [block]])
                settled += cursor.fetchone()[0]
    return settled


def rebuild(farm: uuid.UUID) -> int:
    """Sum up every season of every block of an open farm anew; give how many that were."""
    with connection.cursor() as cursor:
        cursor.execute(_MARK_ALL, {"farm": farm})
    return settle([farm])
