"""The life of each cordon of a farm, as far as it was followed: what survival and a forecast are computed from.

One row is one cordon in one life.  Time runs in seasons (harvest years), so everything within a season is tied.

*Where a life starts.*  For an arm that was laid down by a case of replacement: in the season in which it was laid down
(the last time, where it was laid down anew without having failed).  For the cordons of a vine that an event calls
planted, replanted or retrained: in the season of that event.  Else in the year in which the vine, or else its block,
was planted, where that lies not after the first look.  Else it is not known (NaN).  The age of a first cordon thus
counts from planting, some two years before the cordon itself was formed.

*When a cordon comes under observation (left truncation).*  A cordon is followed from the first season in which it was
inspected: had it been replaced before, nobody would have seen it.  So it is at risk in the seasons after that one
only.  What is noticed in the very season of the first look was there before anybody looked; such a cordon is
``prevalent``, and is never counted as having been at risk.  An arm that was laid down by a case is followed from its
beginning, since the case itself is the observation; it is at risk in the season in which it was laid down as well.
The cordons of a vine that was renewed from its trunk are again followed from their first inspection, because the case
does not say which of them there are.

*The event.*  A case of replacement was noticed for the cordon, for a part of it, or for its whole vine; or the arm that
stood failed or was given up, before or after it bore.  Arms that fail early count too: left out, the rest would live
too long (immortal time).  The season is the one in which it was noticed; the failure itself lies between the last look
without and this one (interval censoring), so looks that lie years apart put events late.  A case that was withdrawn
counts nowhere.  After its event a cordon is not followed until an arm is laid down for it.

*Censoring, on the right.*  A cordon without an event is censored in the last season in which it was inspected (an arm:
or in which its case took a step), not today: nobody knows of later.  A vine that was found missing, replanted or
retrained takes its cordons with it: they are censored at the last look before.  That asks what cordons would do
if no vine were lost (cause-specific, "net" survival).  Where vines are lost to the same disease that ends
cordons, that censoring is informative and survival looks better than it is.  Cordons that are looked at because
they look bad would bias it, too: inspect whole rows, or a drawn sample.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from django.db import connection, transaction
from numpy.typing import NDArray

from balance.cordons.lives_sql import LIVES
from balance.packed import one_row, packed_column, packed_ids
from records.access import OpenFarm
from records.errors import NotValid
from records.kinds.definitions import CORDONS
from records.models import Block
from records.models.farms import Hemisphere

#: More lives than this are asked for block by block.
MOST_LIVES: Final = 500_000
#: Past every season that a record may have.
_EVER: Final = 32_767
#: The first month that belongs to the next year's harvest (see ``records.seasons``).
_NEXT_HARVEST_FROM: Final = {Hemisphere.NORTH: 11, Hemisphere.SOUTH: 5}

STANDING: Final = 0
REPLACED: Final = 1
WENT_WITH_VINE: Final = 2
ENDS: Final = ("standing", "replaced", "went with its vine")


@dataclass(frozen=True, eq=False)
class Lives:
    """The lives of cordons, column by column; one row is one cordon in one life, in no order that counts.

    Attributes
    ----------
    vines : NDArray[np.uint8]
        Ids of the vines, 16 bytes a row.
    cordons : NDArray[np.intp]
        Places in ``records.kinds.definitions.CORDONS``.
    starts : NDArray[np.float64]
        Season in which the life started; NaN where that is not known.
    firsts : NDArray[np.float64]
        First season in which the cordon was looked at in this life, or in which the arm was laid down.
    entered : NDArray[np.float64]
        The season after which it is at risk: that of the first look, or the one before an arm was laid down.
    lasts : NDArray[np.float64]
        Last season in which it was seen, or that of its event.
    ends : NDArray[np.intp]
        ``STANDING`` (censored at the last look), ``REPLACED`` (the event) or ``WENT_WITH_VINE`` (censored).
    renewed : NDArray[np.bool_]
        Whether an earlier case laid it down.
    block_codes, rootstock_codes : NDArray[np.intp]
        Places in ``blocks`` and ``rootstocks``.
    blocks : tuple[Block, ...]
        With cultivar and training, in the order of their names.
    rootstocks : tuple[str, ...]
        As the planting event, else the vine, else the block has it; empty: not stated.
    """

    vines: NDArray[np.uint8]
    cordons: NDArray[np.intp]
    starts: NDArray[np.float64]
    firsts: NDArray[np.float64]
    entered: NDArray[np.float64]
    lasts: NDArray[np.float64]
    ends: NDArray[np.intp]
    renewed: NDArray[np.bool_]
    block_codes: NDArray[np.intp]
    rootstock_codes: NDArray[np.intp]
    blocks: tuple[Block, ...]
    rootstocks: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.ends)

    @property
    def events(self) -> NDArray[np.bool_]:
        ended: NDArray[np.bool_] = self.ends == REPLACED
        return ended

    @property
    def followed(self) -> NDArray[np.bool_]:
        """Lives that were at risk for at least one season: seen again after the first look."""
        return self.lasts > self.entered

    @property
    def prevalent(self) -> NDArray[np.bool_]:
        """Lives whose event was noticed in the very season of the first look: they were never seen at risk."""
        return self.events & ~self.followed

    def grouped(self, by: str) -> tuple[NDArray[np.intp], list[str]]:
        """Give each life's group and what the groups are called.

        Parameters
        ----------
        by : {"none", "block", "cultivar", "rootstock", "training"}
            By block the names are the blocks' ids; what is not stated is one group, with an empty name.

        Returns
        -------
        NDArray[np.intp], list[str]
            Places in the names, one a life, and the names.
        """
        if by == "none":
            return np.zeros(len(self), dtype=np.intp), [""]
        if by == "rootstock":
            return self.rootstock_codes, list(self.rootstocks)
        said = [_KEYS[by](block) for block in self.blocks]
        names = list(dict.fromkeys(said))
        places = np.array([names.index(name) for name in said], dtype=np.intp)
        return (places[self.block_codes] if len(self) else self.block_codes), names


_KEYS: Final[dict[str, Any]] = {
    "block": lambda block: str(block.pk),
    "cultivar": lambda block: block.cultivar_id or block.cultivar_as_named,
    "training": lambda block: "" if block.training == "not_stated" else block.training,
}
GROUPINGS: Final = ("none", "rootstock", *_KEYS)


def lives_of(opened: OpenFarm, block: Block | None = None, until: int | None = None) -> Lives:
    """Give the lives of the cordons of a farm, or of one block, as known in a season.

    Parameters
    ----------
    opened : OpenFarm
    block : Block, optional
        Only the vines of this block.
    until : int, optional
        Nothing of a later season counts; without it, everything on record does.

    Returns
    -------
    Lives

    Raises
    ------
    NotValid
        There are too many lives to be answered at once.
    """
    told = {
        "farm": opened.farm.pk,
        "zone": opened.farm.time_zone,
        "block": block.pk if block else None,
        "until": _EVER if until is None else until,
        "next_harvest_from": _NEXT_HARVEST_FROM[Hemisphere(opened.farm.hemisphere)],
        "cordons": list(CORDONS),
        "most": MOST_LIVES + 1,
    }
    count, vines, *columns, blocks, rootstocks = _read(told)
    if count > MOST_LIVES:
        raise NotValid.at(
            "block", code="too_many_cordons", detail=f"More than {MOST_LIVES:,} cordons; ask block by block."
        )
    return _unpacked(packed_ids(vines), columns, _blocks(opened, blocks), tuple(rootstocks or ()))


def _read(told: dict[str, Any]) -> tuple[Any, ...]:
    """Read them with hash and merge joins only.

    What marks a life is derived, so the database guesses how many there are; where it guesses few, a nested loop over
    100,000 cordons takes minutes instead of two seconds.
    """
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_nestloop = off")
        row = one_row(LIVES, told)
        cursor.execute("SET LOCAL enable_nestloop = DEFAULT")
    return row


def _blocks(opened: OpenFarm, ids: list[uuid.UUID] | None) -> tuple[Block, ...]:
    found = Block.objects.for_farm(opened.farm).in_bulk(ids or [])
    return tuple(found[each] for each in ids or [])


def _unpacked(
    vines: NDArray[np.uint8], packed: list[bytes | None], blocks: tuple[Block, ...], rootstocks: tuple[str, ...]
) -> Lives:
    starts, firsts, entered, lasts = (packed_column(each, ">i2") for each in packed[:4])
    ends, renewed, cordons, block_codes, rootstock_codes = (packed_column(each, ">i4", np.intp) for each in packed[4:])
    starts[starts < 0] = np.nan  # -1 is how the query says "not known"
    order = sorted(range(len(blocks)), key=lambda at: (blocks[at].name, str(blocks[at].pk)))
    places = np.empty(len(blocks), dtype=np.intp)
    places[order] = np.arange(len(blocks))
    return Lives(
        vines=vines,
        cordons=cordons,
        starts=starts,
        firsts=firsts,
        entered=entered,
        lasts=lasts,
        ends=ends,
        renewed=renewed.astype(np.bool_),
        block_codes=places[block_codes] if len(block_codes) else block_codes,
        rootstock_codes=rootstock_codes,
        blocks=tuple(blocks[at] for at in order),
        rootstocks=rootstocks,
    )
