"""The first page: where each block stands, what changed, what to do next winter, and how sure that is."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from balance.reports.document import LOW, NOT_KNOWN, BlockLine, BlockPage, Figure
from balance.reports.facts import Facts
from balance.reports.lines.changed import changes_of
from balance.reports.lines.confidence import confidence_of
from balance.reports.lines.next_winter import advice_of
from balance.reports.lines.standing import standing_of
from balance.reports.sections import crop_load, data_gaps, prunings
from records.errors import NotValid

#: The main figures of a line: the section and the code of each; of several codes, the first that has a value.
_MAIN: Final = (
    (prunings.CODE, ("mean_pruning_weight",)),
    (prunings.CODE, ("mean_target",)),
    (prunings.CODE, ("mean_kept",)),
    (crop_load.CODE, ("crop_load", "crop_load_of_the_season_before")),
)


def summary_of(facts: Facts, page: BlockPage) -> BlockLine:
    """Give the line of one block, its figures those of its page."""
    gaps = {each.code: int(each.value or 0) for each in _figures(page, data_gaps.CODE)}
    try:
        standing, why = standing_of(facts)
        confidence, confidence_why = confidence_of(facts, gaps)
        changed, next_winter = changes_of(facts), advice_of(facts, gaps)
    except NotValid as refused:  # such as a block of more vines than are computed at once
        standing, why, confidence, confidence_why = NOT_KNOWN, refused.detail, LOW, refused.detail
        changed, next_winter = (), ()
    return BlockLine(
        block=page.block,
        name=page.name,
        cultivar=page.cultivar,
        standing=standing,
        why=why,
        figures=tuple(_main(page)),
        changed=changed,
        next_winter=next_winter,
        confidence=confidence,
        confidence_why=confidence_why,
    )


def _figures(page: BlockPage, code: str) -> tuple[Figure, ...]:
    return next((section.figures for section in page.sections if section.code == code), ())


def _main(page: BlockPage) -> Iterator[Figure]:
    for section, codes in _MAIN:
        told = [figure for figure in _figures(page, section) if figure.code in codes]
        if told:
            yield next((figure for figure in told if figure.value is not None), told[0])
