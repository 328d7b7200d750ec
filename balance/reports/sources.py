"""The formulas, ranges and methods that a report rests on, each once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from balance.formulas.buds.bud_injury import INJURY
from balance.formulas.cordons import blank_share, young_arms
from balance.formulas.cordons.capacity import CAPACITY
from balance.formulas.cordons.reminders import SAYS, TASKS
from balance.formulas.crops import crop_load as crop_loads
from balance.formulas.crops import size_trend, vine_size
from balance.formulas.methods import MARKS, NO_SOURCE, Method
from balance.formulas.samples import mean_change, sample_estimate, sample_size, shrinkage
from balance.formulas.yields import yield_estimates
from balance.ranges import AssignedRange
from balance.reports.document import BlockPage, Source
from balance.reports.facts import Facts
from balance.reports.reading import Reading, blocks_of
from balance.reports.sections import bud_injury, crop_load, prunings, sampling, structure, yields
from balance.resolution import resolve_for_block
from records.models import PruningFormula, Vine

#: Which section rests on which methods, where it has anything to say.
_METHODS: Final[dict[str, tuple[tuple[Method, str], ...]]] = {
    prunings.CODE: (
        (sample_estimate.METHOD, "mean pruning weight and its interval"),
        (vine_size.METHOD, "prunings by length of canopy, weight of a cane"),
        (young_arms.METHOD, "nodes that young arms cannot carry"),
    ),
    crop_load.CODE: (
        (crop_loads.METHOD, "crop load"),
        (size_trend.METHOD, "trend of vine size"),
        (mean_change.METHOD, "change of mean pruning weight against the winter before"),
    ),
    bud_injury.CODE: ((INJURY, "bud injury"),),
    yields.CODE: ((yield_estimates.BY_COUNT, "yield by counting clusters"),),
    sampling.CODE: ((sample_size.METHOD, "vines to weigh"), (shrinkage.METHOD, "mean drawn towards alike blocks")),
    structure.CODE: ((blank_share.METHOD, "blank cordon"), (CAPACITY, "fruiting capacity lost")),
}


def formulas_of(reading: Reading) -> list[PruningFormula]:
    """Give every version of a formula by which a target of the report was computed, in the order of their codes."""
    found = {resolve_for_block(reading.opened.farm, block).formula for block in blocks_of(reading)}
    of_vines = Vine.objects.for_farm(reading.opened.farm).exclude(pruning_formula=None).values("pruning_formula")
    found |= set(PruningFormula.objects.filter(pk__in=of_vines))
    return sorted((each for each in found if each is not None), key=lambda each: (each.code, each.formula_version))


def sources_of(formulas: Iterable[PruningFormula], of_blocks: Iterable[tuple[Source, ...]]) -> Iterator[Source]:
    """Give the sources, in the order in which they are printed: formulas, ranges, methods, work on cordons."""
    for formula in formulas:
        yield Source(
            formula.code, formula.formula_version, formula.label, formula.source, formula.source_mark, "targets"
        )
    once = {(each.code, each.version): each for sources in of_blocks for each in sources}
    yield from sorted(once.values(), key=_in_print)


def sources_of_block(facts: Facts, page: BlockPage) -> tuple[Source, ...]:
    """Give what the page of one block rests on beside the formulas of its targets."""
    told = [section.code for section in page.sections if not section.reason]
    methods = [each for code in told for each in _METHODS.get(code, ())]
    return (
        *(_of_range(each) for each in facts.ranges),
        *(Source(each.code, each.version, each.label, each.source, each.mark, used) for each, used in methods),
        *(_of_tasks(facts) if structure.CODE in told else ()),
    )


def _of_range(assigned: AssignedRange) -> Source:
    row = assigned.range
    return Source(
        row.code, row.range_version, row.label, row.source, row.source_mark, f"{_RANGE}{row.get_measure_display()}"
    )


def _of_tasks(facts: Facts) -> Iterator[Source]:
    asked = {work.task.code for work in facts.work.works}
    for task in TASKS:
        if task in asked:
            says = SAYS[task]
            yield Source(f"cordon-task-{task}", 1, says.name, says.source, _mark_of(says.source), _WORK)


#: What ranges and tasks are used for, by which they are told from methods.
_RANGE: Final = "range of "
_WORK: Final = "work on cordons"


def _mark_of(source: str) -> str:
    """Give the mark that a source says of itself."""
    return next((mark for mark in MARKS if f"({mark})" in source), NO_SOURCE)


def _in_print(source: Source) -> tuple[int, str, int]:
    rank = 0 if source.used_for.startswith(_RANGE) else 2 if source.used_for == _WORK else 1
    return rank, source.code, source.version
