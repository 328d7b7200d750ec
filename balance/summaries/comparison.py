"""Blocks beside each other: one line a block, in an order of the reader's choice."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from balance.formulas.summaries.shares import share_of
from balance.reports.charts import ShareRow, shares
from balance.reports.document import STANDINGS, Chart
from balance.reports.quantities import Units
from balance.summaries.glance import NOTHING_TO_JUDGE, blank_share_of
from balance.summaries.lines import Line

BY_NAME: Final = "name"
BY_STANDING: Final = "standing"
#: Each with the member that it goes by, and whether the largest comes first; a block without it comes last.
_BY_FIGURE: Final = {
    "mean_weight": ("mean_weight", True),
    "mean_difference": ("mean_difference", True),
    "crop_load": ("crop_load", True),
    "blank_share": ("blank_share", True),
    "weighed_share": ("weighed_share", False),
    "tasks_due": ("tasks_due", True),
}
ORDERS: Final = (BY_NAME, BY_STANDING, *_BY_FIGURE)
PARTS: Final = (
    "On target, within what the scale can tell",
    "More nodes than the target",
    "Fewer nodes than the target",
)


def head_shown(line: Line) -> dict[str, Any]:
    """Name a block and say what stands there."""
    return {
        "farm": str(line.farm.pk),
        "farm_name": line.farm.name,
        "region": line.farm.region,
        "block": str(line.head.id),
        "block_name": line.head.name,
        "cultivar": line.head.cultivar,
        "cultivar_name": line.head.cultivar_name,
        "rootstock": line.head.rootstock,
        "training": line.head.training,
        "shelter": line.head.shelter,
    }


def line_shown(line: Line, units: Units) -> dict[str, Any]:
    """Give the line of a block."""
    row, counts, judged = line.row, line.counts, line.judged
    weight = units.vine_weight
    share, _ = blank_share_of([row] if row else [])
    standing, why = line.standing
    return {
        **head_shown(line),
        "season": line.season,
        "recorded": row is not None and row.says_anything,
        "places": row.places if row else None,
        "standing_vines": row.standing if row else None,
        "weighed": row.weighed if row else 0,
        "weighed_share": share_of(row.weighed, row.standing) if row else None,
        "mean_weight": weight.of(row.weight_mean) if row else None,
        "standard_deviation": weight.of(row.weight_deviation) if row else None,
        "weight_unit": weight.unit,
        "judged": counts.judged if counts else 0,
        "within": counts.judged - counts.too_many - counts.too_few if counts else 0,
        "too_many": counts.too_many if counts else 0,
        "too_few": counts.too_few if counts else 0,
        "mean_difference": counts.difference if counts else None,
        "crop_load": judged.load.quotient.value if judged else None,
        "crop_load_season": judged.season if judged else None,
        "crop_load_basis": judged.load.basis if judged else None,
        "crop_load_verdict": judged.verdict if judged else None,
        "blank_share": share,
        "open_cases": line.work.open_cases,
        "tasks_due": line.work.due.total(),
        "tasks_overdue": line.work.overdue.total(),
        "standing": standing,
        "why": why,
    }


def key_of(shown: dict[str, Any], order: str) -> list[Any]:
    """Give the place of a line in an order: no two lines have the same."""
    name = [shown["farm_name"].casefold(), shown["farm"], shown["block_name"].casefold(), shown["block"]]
    if order == BY_NAME:
        return name
    if order == BY_STANDING:
        return [STANDINGS.index(shown["standing"]), *name]
    member, largest_first = _BY_FIGURE[order]
    value = shown[member]
    return [value is None, 0 if value is None else -value if largest_first else value, *name]


def comparison_chart(lines: Sequence[dict[str, Any]], season: int | None) -> Chart:
    """Draw the counts of each block against its targets, in the order of the lines."""
    farms = {line["farm"] for line in lines}
    rows = [
        ShareRow(
            name=line["block_name"] if len(farms) == 1 else f"{line['block_name']}, {line['farm_name']}",
            counts=(line["within"], line["too_many"], line["too_few"]) if line["judged"] else None,
            reason=NOTHING_TO_JUDGE,
        )
        for line in lines
    ]
    title = f"Counts against targets by block, season {season}" if season else "Counts against targets by block"
    return shares("counts_by_block", title, PARTS, rows)
