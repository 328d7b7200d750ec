"""Which vines of a block stand: all but those whose newest event up to a season says that they are missing."""

from __future__ import annotations

from typing import Final

import numpy as np
from django.db import connection
from numpy.typing import NDArray

from balance.walking import Vines
from records.access import OpenFarm
from records.models import Block

#: The newest event of each vine: by the day it happened where that is known, else the day it was seen, else its season.
NEWEST_EVENTS: Final = """
    SELECT DISTINCT ON (vine_id) block_id, vine_id, event
    FROM vine_event
    WHERE farm_id = %s AND season <= %s AND withdrawn_at IS NULL
    ORDER BY vine_id,
             coalesce(happened_on, (observed_at AT TIME ZONE %s)::date, make_date(season, 1, 1)) DESC,
             observed_at DESC NULLS LAST, received_at DESC, id DESC
"""
_MISSING: Final = f"""
    SELECT string_agg(uuid_send(vine_id), '')
    FROM ({NEWEST_EVENTS.replace("WHERE farm_id = %s", "WHERE farm_id = %s AND block_id = %s")}) AS newest
    WHERE event = 'missing'
"""  # noqa: S608 - joined from constants


def standing(opened: OpenFarm, block: Block, vines: Vines, season: int) -> NDArray[np.bool_]:
    """Tell of each vine whether it stands: a vine without any event does."""
    with connection.cursor() as cursor:
        cursor.execute(_MISSING, [opened.farm.pk, block.pk, season, opened.farm.time_zone])
        packed = cursor.fetchone()[0]
    if packed is None:
        return np.ones(len(vines), dtype=np.bool_)
    missing = np.frombuffer(packed, dtype="S16")
    return ~np.isin(np.ascontiguousarray(vines.ids).view("S16").ravel(), missing)
