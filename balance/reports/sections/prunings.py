"""Prunings and targets: what was weighed, what it asks for, and how the counts that were left compare."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from balance.blocks import BlockTargets, targets_of_block
from balance.formulas.statistics import summarise
from balance.reports.document import Column, Figure, Section, Table
from balance.reports.reading import Reading
from records.models import Block

CODE: Final = "prunings"
TITLE: Final = "Prunings, targets and counts"
_NOT_WEIGHED: Final = "No vine of the block was weighed in the winter before this harvest."


def section(reading: Reading, block: Block) -> Section:
    """Compose the section of one block."""
    found = targets_of_block(reading.opened, block, reading.season)
    weighed = np.isfinite(found.walked.weights_kg)
    if not weighed.any():
        return Section(CODE, TITLE, reason=_NOT_WEIGHED)
    return Section(
        CODE, TITLE, figures=tuple(_figures(reading, found)), tables=(_counts_table(found),),
        sentences=tuple(_sentences(found)),
    )  # fmt: skip


def _figures(reading: Reading, found: BlockTargets) -> Iterator[Figure]:
    weight = reading.units.vine_weight
    weights = found.walked.weights_kg[np.isfinite(found.walked.weights_kg)]
    said = summarise(weights)
    yield Figure(
        "mean_pruning_weight", "Mean pruning weight of a vine", weight.of(said.mean), weight.unit, weight.digits,
        n=said.n, reason="" if said.n else _NOT_WEIGHED,
    )  # fmt: skip
    nodes = found.targets.nodes[np.isfinite(found.targets.nodes)]
    yield Figure(
        "mean_target", "Mean target", float(nodes.mean()) if nodes.size else None, "count nodes", 0, n=int(nodes.size),
        reason="" if nodes.size else "No vine has a target: no weight lies in the range of the formula.",
    )  # fmt: skip
    kept = found.walked.retained[found.walked.retained >= 0]
    yield Figure(
        "mean_kept", "Mean of the counts that were left", float(kept.mean()) if kept.size else None, "count nodes", 0,
        n=int(kept.size), reason="" if kept.size else "Nobody counted after the cut.",
    )  # fmt: skip


_OUTCOMES: Final = (
    ("within_tolerance", "On target, within what the scale can tell"),
    ("too_many", "More nodes than the target"),
    ("too_few", "Fewer nodes than the target"),
)


def _counts_table(found: BlockTargets) -> Table:
    rows = tuple((says, int((found.outcome == code).sum())) for code, says in _OUTCOMES)
    columns = (Column("outcome", "Counts against targets"), Column("vines", "Vines", number=True))
    return Table("counts_against_targets", "Counts against targets", columns, rows)


def _sentences(found: BlockTargets) -> Iterator[str]:
    weighed = int(np.isfinite(found.walked.weights_kg).sum())
    yield f"{weighed} of {len(found.walked)} places have a weight."
    formula = found.formulas[0].formula
    if formula is not None:
        yield f"Formula: {formula.label}, version {formula.formula_version} ({formula.source}; {formula.source_mark})."
