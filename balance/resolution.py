"""Which formula answers for a vine: the nearest level that names one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from django.db.models import Q

from balance.models import Level
from records.models import Block, Cultivar, CultivarGroup, Farm, PruningFormula, Vine


@dataclass(frozen=True)
class Resolved:
    """A formula and the level that named it; no formula where no level names one."""

    formula: PruningFormula | None
    level: str

    def __bool__(self) -> bool:
        return self.formula is not None


def resolve_for_block(farm: Farm, block: Block) -> Resolved:
    """Give the formula for vines that name none of their own: block, then farm, then cultivar, then group."""
    return _first(_levels_of_block(farm, block))


def resolve_for_vine(farm: Farm, block: Block, vine: Vine) -> Resolved:
    """Give the formula for one vine."""
    if vine.pruning_formula is not None:
        return Resolved(vine.pruning_formula, Level.VINE)
    return resolve_for_block(farm, block)


def resolve_for_cultivar(cultivar: Cultivar | None, group: CultivarGroup | None) -> Resolved:
    """Give the catalogue's formula for a cultivar, else for its group."""
    return _first(_levels_of_cultivar(cultivar, group))


def _levels_of_block(farm: Farm, block: Block) -> Iterator[Resolved]:
    yield Resolved(block.pruning_formula, Level.BLOCK)
    yield Resolved(farm.pruning_formula, Level.FARM)
    yield from _levels_of_cultivar(block.cultivar, block.cultivar_group)


def _levels_of_cultivar(cultivar: Cultivar | None, group: CultivarGroup | None) -> Iterator[Resolved]:
    group_code = cultivar.group_id if cultivar is not None else (group.pk if group else None)
    if group_code is None:
        return
    own = Q(cultivar=cultivar) if cultivar is not None else Q(pk=None)
    answering = PruningFormula.objects.filter(own | Q(group=group_code, cultivar=None), is_default=True)
    for formula in sorted(answering, key=lambda each: each.cultivar_id is None):
        yield Resolved(formula, Level.CULTIVAR if formula.cultivar_id else Level.GROUP)


def _first(levels: Iterable[Resolved]) -> Resolved:
    """Take the nearest level that names a formula; later levels are not even asked."""
    return next((found for found in levels if found), Resolved(None, ""))
