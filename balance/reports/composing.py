"""Put the whole report together: a page a block out of its sections, and the summary out of the pages."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from balance.advice import CAUTIONS
from balance.reports.document import BlockLine, BlockPage, FarmReport, Section, Source
from balance.reports.facts import Facts
from balance.reports.reading import Reading
from balance.reports.sections import bud_injury, crop_load, data_gaps, prunings, sampling, structure, yields
from balance.reports.sources import sources_of, sources_of_block
from balance.reports.summary import summary_of
from records.errors import NotValid
from records.models import Block, PruningFormula


@dataclass(frozen=True)
class Part:
    """One section of a page: its code and title, and what composes it."""

    code: str
    title: str
    compose: Callable[[Facts], Section]


#: In the order in which they stand on the page.
SECTIONS: Final = (
    Part(prunings.CODE, prunings.TITLE, prunings.section),
    Part(crop_load.CODE, crop_load.TITLE, crop_load.section),
    Part(bud_injury.CODE, bud_injury.TITLE, bud_injury.section),
    Part(yields.CODE, yields.TITLE, yields.section),
    Part(sampling.CODE, sampling.TITLE, sampling.section),
    Part(structure.CODE, structure.TITLE, structure.section),
    Part(data_gaps.CODE, data_gaps.TITLE, data_gaps.section),
)


@dataclass(frozen=True)
class Composed:
    """One block as the report tells of it: its line of the summary, its page, and what that rests on."""

    line: BlockLine
    page: BlockPage
    sources: tuple[Source, ...]


def compose_block(reading: Reading, block: Block) -> Composed:
    """Compose what the report says of one block."""
    facts = Facts(reading, block)
    page = BlockPage(
        block=str(block.pk),
        name=block.name,
        cultivar=block.cultivar.name if block.cultivar else block.cultivar_as_named,
        rootstock=block.rootstock,
        training=block.get_training_display(),
        vines=facts.places.count - facts.places.missing,
        sections=tuple(_sections(facts)),
    )
    return Composed(summary_of(facts, page), page, sources_of_block(facts, page))


def compose(
    reading: Reading, blocks: Sequence[Composed], formulas: Sequence[PruningFormula], made_by: str
) -> FarmReport:
    """Put the blocks together to the report of the farm."""
    farm = reading.opened.farm
    return FarmReport(
        farm=str(farm.pk),
        farm_name=farm.name,
        region=farm.region,
        season=reading.season,
        units=reading.units.system,
        taken_at=reading.taken_at.isoformat(timespec="seconds"),
        made_by=made_by,
        summary=tuple(block.line for block in blocks),
        blocks=tuple(block.page for block in blocks),
        sources=tuple(sources_of(formulas, (block.sources for block in blocks))),
        cautions=CAUTIONS,
    ).checked()


def _sections(facts: Facts) -> Iterator[Section]:
    for part in SECTIONS:
        try:
            yield part.compose(facts)
        except NotValid as refused:  # such as a block of more vines than are computed at once
            yield Section(part.code, part.title, reason=refused.detail)
