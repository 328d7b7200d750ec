"""The first page: where each block stands, what changed, what to do next winter, and how sure that is."""

from __future__ import annotations

from balance.reports.document import LOW, NOT_KNOWN, BlockLine, BlockPage
from balance.reports.facts import Facts


def summary_of(facts: Facts, page: BlockPage) -> BlockLine:  # noqa: ARG001
    """Give the line of one block."""
    return BlockLine(
        block=page.block,
        name=page.name,
        cultivar=page.cultivar,
        standing=NOT_KNOWN,
        why="",
        figures=(),
        changed=(),
        next_winter=(),
        confidence=LOW,
        confidence_why="",
    )
