"""Bud injury of the winter before the harvest: the samples pooled, with the exact interval, and adjusted by none."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from balance.buds.likeness import FEWEST_ASKED, USUAL_MARGIN, likeness_of, nodes_needed, sentence_of_sampling
from balance.buds.pooled_samples import PooledSamples
from balance.formulas.buds.bud_injury import bud_injury
from balance.formulas.counting import counted
from balance.formulas.proportions import MOST_EXAMINED, Share
from balance.reports.document import Cell, Column, Figure, Section, Table
from balance.reports.facts import Facts
from balance.reports.figures import NODES, PERCENT, Ends, figure

CODE: Final = "bud_injury"
TITLE: Final = "Bud injury of the winter"
NO_SAMPLE: Final = (
    "No bud sample of the winter before this harvest was read: whether buds were lost is not known, and no target "
    "knows of it."
)
NO_ADJUSTMENT: Final = (
    "The published ways to leave more nodes after an injury contradict each other, and the farm chose none: no target "
    "here is adjusted. Choose one with your local extension or adviser."
)
_INTERVAL: Final = "95 % exact interval (Clopper and Pearson)"
#: So many samples are listed each; all are pooled.
_LISTED: Final = 12


def section(facts: Facts) -> Section:
    """Compose the section of one block."""
    pooled = facts.buds
    injury = injury_of(pooled)
    if injury is None:
        return Section(CODE, TITLE, reason=NO_SAMPLE)
    return Section(
        CODE,
        TITLE,
        sentences=tuple(_sentences(pooled, injury)),
        figures=tuple(_figures(injury)),
        tables=(_samples_table(pooled),),
    )


def injury_of(pooled: PooledSamples) -> Share | None:
    """Give the pooled injury; None where no primary bud was read."""
    if not 0 < pooled.nodes_examined <= MOST_EXAMINED:
        return None
    return bud_injury(pooled.nodes_examined, pooled.primaries_alive)


def _figures(injury: Share) -> Iterator[Figure]:
    ends = Ends(injury.low_percent, injury.high_percent, _INTERVAL)
    yield figure("bud_injury", "Primary buds dead", PERCENT, injury.percent, n=injury.of, ends=ends)
    yield figure("nodes_examined", "Nodes examined", NODES, injury.of)
    yield figure("primaries_dead", "Nodes whose primary bud is dead", NODES, injury.count)
    needed = nodes_needed(injury, USUAL_MARGIN)
    yield figure("nodes_needed", f"Nodes to examine for ±{USUAL_MARGIN:g} points at this injury", NODES, needed)


def _samples_table(pooled: PooledSamples) -> Table:
    columns = (
        Column("cut_where", "Cut where"),
        Column("nodes_examined", "Nodes examined", number=True),
        Column("primaries_alive", "Primary buds alive", number=True),
        Column("injury", "Dead", "%", number=True, digits=PERCENT.digits),
        Column("low", "Low", "%", number=True, digits=PERCENT.digits),
        Column("high", "High", "%", number=True, digits=PERCENT.digits),
    )
    left = pooled.count - min(pooled.count, _LISTED)
    note = f"{counted(left, 'further sample')} pooled and not listed." if left else ""
    return Table("bud_samples", "Samples", columns, tuple(_row(each) for each in pooled.listed[:_LISTED]), note=note)


def _row(sample: dict[str, Any]) -> tuple[Cell, ...]:
    injury = bud_injury(sample["nodes_examined"], sample["primary_alive"])
    percents = (PERCENT.of(each) for each in (injury.percent, injury.low_percent, injury.high_percent))
    return (sample["cut_where"] or "not said", sample["nodes_examined"], sample["primary_alive"], *percents)


def _sentences(pooled: PooledSamples, injury: Share) -> Iterator[str]:
    yield f"{counted(pooled.count, 'sample')} of this winter, pooled: {injury.count} of {injury.of} primary buds dead."
    likeness = likeness_of(pooled)
    if likeness.unlike is not None:
        yield likeness.sentence
    if pooled.not_read:
        yield f"In {counted(pooled.not_read, 'sample')} no primary bud was read; they count for nothing."
    if injury.of < FEWEST_ASKED:
        yield "The sources ask for 50 to 100 buds from each block or part of it."
    yield sentence_of_sampling(injury, USUAL_MARGIN, nodes_needed(injury, USUAL_MARGIN))
    yield NO_ADJUSTMENT
