"""The vines of a block in walking order, and what was measured on them in one winter, column by column.

The database hands over each column packed into one value, which numpy reads in place: no object a vine.  Which
vines stand where changes once in years, so it is kept from one request to the next and looked at again only
when the block's vines have changed.  Records are always read.
"""

from __future__ import annotations

import uuid
from collections import OrderedDict
from dataclasses import dataclass
from threading import Lock
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from balance.packed import one_row, packed_column, packed_ids, places_among
from records.access import OpenFarm
from records.errors import NotValid
from records.models import Block

#: More vines than this are asked for row by row.
MOST_VINES: Final = 20_000
#: More vines than this are not reckoned together, where the answer is a few figures of a whole block.
MOST_OF_A_BLOCK: Final = 100_000
_TOO_MANY: Final = "too_many_vines"
#: Blocks whose vines a process keeps; one of 10,000 vines takes about two megabytes.
_KEPT_BLOCKS: Final = 16

_STATE: Final = """
    SELECT count(*), max(changed_at), max(received_at), sum(row_number::bigint * 10000 + place)
    FROM vine WHERE farm_id = %s AND block_id = %s
"""
_VINES: Final = """
    SELECT string_agg(uuid_send(id), ''), string_agg(to_json(label)::text, E'\\n'),
           string_agg(int2send(row_number), ''), string_agg(int2send(place), ''),
           string_agg(uuid_send(coalesce(pruning_formula_id, '00000000-0000-0000-0000-000000000000')), ''),
           string_agg(int2send(coalesce(year_planted, 0)::int2), '')
    FROM (SELECT * FROM vine WHERE farm_id = %s AND block_id = %s ORDER BY row_number, place) AS walked
"""
_RECORDS: Final = """
    SELECT string_agg(uuid_send(vine_id), ''), string_agg(uuid_send(id), ''),
           string_agg(float8send(coalesce(trim_scale(pruning_weight_kg)::float8, 'NaN')), ''),
           string_agg(float8send(coalesce(trim_scale(scale_resolution_kg)::float8, 'NaN')), ''),
           string_agg(int2send(coalesce(nodes_retained, -1)::int2), '')
    FROM dormant_record WHERE farm_id = %s AND block_id = %s AND season = %s AND withdrawn_at IS NULL
"""


@dataclass(frozen=True, eq=False)
class Vines:
    """The vines of a block in walking order; ids are 16 bytes a row, labels are JSON texts.

    ``formula_ids`` are all zero for a vine without a formula of its own; ``years_planted`` are zero where not said.
    """

    ids: NDArray[np.uint8]
    labels: NDArray[np.bytes_]
    row_numbers: NDArray[np.int16]
    places: NDArray[np.int16]
    formula_ids: NDArray[np.uint8]
    years_planted: NDArray[np.int16]

    def __len__(self) -> int:
        return len(self.ids)

    def of_rows(self, rows: range) -> Vines:
        """Give the vines of some rows that follow each other."""
        own = (self.row_numbers >= rows.start) & (self.row_numbers < rows.stop)
        return Vines(
            self.ids[own],
            self.labels[own],
            self.row_numbers[own],
            self.places[own],
            self.formula_ids[own],
            self.years_planted[own],
        )


@dataclass(frozen=True)
class Walked:
    """A block's vines with what was measured on each in one season; NaN where nothing was.

    ``records`` are ids of 16 bytes a row, all zero where a vine has no record.
    """

    vines: Vines
    records: NDArray[np.uint8]
    weights_kg: NDArray[np.float64]
    resolutions_kg: NDArray[np.float64]
    retained: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.vines)


_known: OrderedDict[tuple[uuid.UUID, uuid.UUID], tuple[tuple[Any, ...], Vines]] = OrderedDict()
#: Threads of one process share what is kept; the lock is held for no query.
_keeping = Lock()


def walk(
    opened: OpenFarm, block: Block, season: int | None, rows: int | range | None = None, *, whole: bool = False
) -> Walked:
    """Give the vines of a block, or of one row or some rows of it, with the records of one season.

    ``whole`` is for figures of all vines together, which nobody can ask for row by row.

    Raises
    ------
    NotValid
        There are too many vines to be answered at once.
    """
    vines = _vines(opened, block)
    if rows is not None:
        vines = vines.of_rows(rows if isinstance(rows, range) else range(rows, rows + 1))
    most = MOST_OF_A_BLOCK if whole else MOST_VINES
    if len(vines) > most:
        told = f"The block has {len(vines):,} vines; at most {most:,} are"
        if whole:
            raise NotValid.at("block", code=_TOO_MANY, detail=f"{told} reckoned together. Divide the block.")
        raise NotValid.at("row_number", code=_TOO_MANY, detail=f"{told} answered at once. Ask by row.")
    return _with_records(vines, one_row(_RECORDS, [opened.farm.pk, block.pk, season]))


def _vines(opened: OpenFarm, block: Block) -> Vines:
    """Give the block's vines, read again only where something about them has changed."""
    key = (opened.farm.pk, block.pk)
    state = one_row(_STATE, key)
    kept = _known.get(key)
    if kept is None or kept[0] != state:
        kept = state, _unpacked(one_row(_VINES, key))
    with _keeping:
        _known[key] = kept
        _known.move_to_end(key)
        if len(_known) > _KEPT_BLOCKS:
            _known.popitem(last=False)
    return kept[1]


def _unpacked(row: tuple[Any, ...]) -> Vines:
    ids, labels, row_numbers, places, formula_ids, years_planted = row
    return Vines(
        ids=packed_ids(ids),
        labels=np.array(labels.encode().split(b"\n") if labels else [], dtype=np.bytes_),
        row_numbers=packed_column(row_numbers, ">i2", np.int16),
        places=packed_column(places, ">i2", np.int16),
        formula_ids=packed_ids(formula_ids),
        years_planted=packed_column(years_planted, ">i2", np.int16),
    )


def _with_records(vines: Vines, row: tuple[Any, ...]) -> Walked:
    """Lay each record beside its vine."""
    vine_ids, record_ids, weights, resolutions, retained = row
    at = places_among(packed_ids(vine_ids), vines.ids)
    here = at >= 0  # a record of a vine in another row is left out
    records = np.zeros_like(vines.ids)
    records[at[here]] = packed_ids(record_ids)[here]
    counted = packed_column(retained, ">i2", np.float64)
    counted[counted < 0] = np.nan  # -1 is how the query says "not counted"
    laid = []
    for column in (packed_column(weights, ">f8", np.float64), packed_column(resolutions, ">f8", np.float64), counted):
        laid.append(np.full(len(vines), np.nan))
        laid[-1][at[here]] = column[here]
    return Walked(vines, records, *laid)
