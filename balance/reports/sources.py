"""The formulas, ranges and methods that a report rests on, each once."""

from __future__ import annotations

from collections.abc import Iterator

from balance.reports.document import Source
from balance.reports.reading import Reading, blocks_of
from balance.resolution import resolve_for_block
from records.models import PruningFormula, Vine


def formulas_of(reading: Reading) -> list[PruningFormula]:
    """Give every version of a formula by which a target of the report was computed, in the order of their codes."""
    found = {resolve_for_block(reading.opened.farm, block).formula for block in blocks_of(reading)}
    of_vines = Vine.objects.for_farm(reading.opened.farm).exclude(pruning_formula=None).values("pruning_formula")
    found |= set(PruningFormula.objects.filter(pk__in=of_vines))
    return sorted((each for each in found if each is not None), key=lambda each: (each.code, each.formula_version))


def sources_of(reading: Reading) -> Iterator[Source]:
    """Give the sources, in the order in which they are printed."""
    for formula in formulas_of(reading):
        yield Source(
            formula.code, formula.formula_version, formula.label, formula.source, formula.source_mark, "targets"
        )
