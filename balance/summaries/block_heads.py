"""What summaries say of each block beside its figures: its name and what stands there; of many farms at once."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from django.db import connection

from records.errors import NotValid

#: More blocks than these are not even looked through.
MOST_READ: Final = 20_000
_READ: Final = """
    SELECT b.farm_id, b.id, b.name, b.cultivar_id, coalesce(nullif(b.cultivar_as_named, ''), c.name, ''),
           CASE WHEN b.cultivar_id IS NULL THEN b.cultivar_group_id ELSE c.group_id END,
           b.rootstock, b.training, b.shelter, b.use, b.canopies,
           EXISTS (SELECT FROM vine v WHERE v.farm_id = b.farm_id AND v.block_id = b.id)
    FROM block b LEFT JOIN cultivar c ON c.code = b.cultivar_id
    WHERE b.farm_id = ANY(%(farms)s) AND (%(block)s::uuid IS NULL OR b.id = %(block)s)
    ORDER BY b.farm_id, b.name, b.id LIMIT %(most)s
"""


@dataclass(frozen=True)
class BlockHead:
    """One block; empty texts and None where the farm did not say.

    ``cultivar_name`` is what the farm calls the cultivar, else what the catalogue does; ``group`` is the group of
    cultivars whose formulas and ranges answer.
    """

    farm_id: uuid.UUID
    id: uuid.UUID
    name: str
    cultivar: str | None
    cultivar_name: str
    group: str | None
    rootstock: str
    training: str
    shelter: str
    use: str
    canopies: int | None
    has_vines: bool


def heads_of(farms: Iterable[uuid.UUID], block: uuid.UUID | None = None) -> list[BlockHead]:
    """Give the blocks of open farms, or one of them, by farm and name.

    Raises
    ------
    NotValid
        There are more than are looked through at once.
    """
    with connection.cursor() as cursor:
        cursor.execute(_READ, {"farms": sorted(set(farms)), "block": block, "most": MOST_READ + 1})
        found = [BlockHead(*row) for row in cursor.fetchall()]
    if len(found) > MOST_READ:
        raise NotValid.at(
            "farm",
            code="too_many_blocks",
            detail=f"These farms have more than {MOST_READ:,} blocks. Ask region by region, or farm by farm.",
        )
    return found
