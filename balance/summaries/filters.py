"""Which blocks and farms a summary is about: by cultivar, rootstock, training, shelter, region and farm.

A value that nothing here has is refused with the values that there are: an empty answer would be read as "no vines".
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from balance.summaries.block_heads import BlockHead
from records.errors import NotValid
from records.models import Farm

#: One answer is about so many at the most.
MOST_FARMS: Final = 200
MOST_BLOCKS: Final = 2_000
#: So many of the values that there are stand in a refusal.
_CHOICES_SAID: Final = 20


@dataclass(frozen=True)
class Filters:
    """What was asked for; None: whatever there is. Texts are compared without regard to case."""

    cultivar: str | None = None
    rootstock: str | None = None
    training: str | None = None
    shelter: str | None = None
    region: str | None = None
    farm: uuid.UUID | None = None

    def farms_among(self, farms: Sequence[Farm]) -> list[Farm]:
        """Give the farms that are meant.

        Raises
        ------
        NotValid
            None of them lies in the region or is the farm that was named, or there are too many.
        """
        found = list(farms)
        if self.farm is not None:
            found = [farm for farm in found if farm.pk == self.farm]
            if not found:
                raise NotValid.at(
                    "farm", code="unknown_farm", detail="No farm of your portfolio has this id. See /api/v1/farms."
                )
        if self.region is not None:
            _known("region", self.region, (farm.region for farm in found))
            found = [farm for farm in found if _alike(farm.region, self.region)]
        if len(found) > MOST_FARMS:
            raise NotValid.at(
                "region",
                code="too_many_farms",
                detail=f"That is {len(found)} farms; {MOST_FARMS} are summed up at once. Narrow by region=, ask farm "
                "by farm with farm=, or use a key that is bound to fewer farms.",
            )
        return found

    def blocks_among(self, heads: Sequence[BlockHead]) -> list[BlockHead]:
        """Give the blocks that are meant.

        Raises
        ------
        NotValid
            None has the cultivar or rootstock that was named, or there are too many.
        """
        if self.cultivar is not None:
            _known("cultivar", self.cultivar, (name for head in heads for name in (head.cultivar, head.cultivar_name)))
        if self.rootstock is not None:
            _known("rootstock", self.rootstock, (head.rootstock for head in heads))
        found = [head for head in heads if self._meant(head)]
        if len(found) > MOST_BLOCKS:
            raise NotValid.at(
                "cultivar",
                code="too_many_blocks",
                detail=f"That is {len(found):,} blocks; {MOST_BLOCKS:,} are summed up at once. Narrow by cultivar=, "
                "rootstock=, training= or shelter=, or by region= or farm= where there are many farms.",
            )
        return found

    def _meant(self, head: BlockHead) -> bool:
        return (
            (self.cultivar is None or _alike(head.cultivar, self.cultivar) or _alike(head.cultivar_name, self.cultivar))
            and (self.rootstock is None or _alike(head.rootstock, self.rootstock))
            and self.training in {None, head.training}
            and self.shelter in {None, head.shelter}
        )


def _alike(one: str | None, other: str) -> bool:
    return bool(one) and str(one).casefold() == other.casefold()


def _known(name: str, asked: str, values: Iterable[str | None]) -> None:
    known = sorted({value for value in values if value})
    if any(_alike(value, asked) for value in known):
        return
    said = ", ".join(known[:_CHOICES_SAID]) + (f" and {len(known) - _CHOICES_SAID} more" * (len(known) > _CHOICES_SAID))
    choices = f"There are: {said}." if known else "None is stated here: leave the filter out."
    raise NotValid.at(
        name, code="unknown_value", detail=f"Nothing that was asked about has this {name}: {asked}. {choices}"
    )
