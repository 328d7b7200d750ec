"""How complete the records of a season are, block by block: what is there, and what lacks with what that costs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

from balance.formulas.summaries.shares import share_of
from balance.summaries.comparison import head_shown
from balance.summaries.lines import Line
from balance.summaries.rows import Row
from records.models.vineyards import Training

#: What may lack, in the order of the year, and what cannot be told without it.
LACKS: Final = {
    "vines": "No vines are on record: add the rows of the block and plant them.",
    "weights": "No vine was weighed: there are no targets and no crop load of the harvest before.",
    "counts": "No vine was counted after the cut: nobody can tell whether the targets were kept.",
    "scale_step": "Weights without the scale's smallest step: counts are judged by one node alone.",
    "formula": "Weights for which no formula answers: name the cultivar, or choose a formula.",
    "bud_sample": "No bud sample of this winter: nobody can tell how many buds lived.",
    "harvest": "No harvest is recorded: there is no crop load of this season.",
    "inspections": "No cordon was inspected: nobody can tell how much of them is blank.",
    "cultivar": "The block names no cultivar: formulas and ranges rest on it.",
    "training": "The training is not stated: lengths of canopy rest on it.",
}
LACK_CODES: Final = tuple(LACKS)


def line_of(line: Line) -> dict[str, Any]:
    """Give what is recorded of a block in the season, and what lacks."""
    row = line.row
    return {
        **head_shown(line),
        "season": line.season,
        **_recorded(row),
        "lacks": [{"code": code, "sentence": LACKS[code]} for code in _lacking(line, row)],
    }


def _recorded(row: Row | None) -> dict[str, Any]:
    names = (
        "places", "missing", "young_vines", "weighed", "counted", "without_resolution", "guessed", "harvest_records",
        "sample_vines", "vines_picked", "bud_samples", "shoot_counts", "cluster_counts", "inspections", "cordons",
    )  # fmt: skip
    told: dict[str, Any] = {name: getattr(row, name) if row else 0 for name in names}
    standing = row.standing if row else 0
    return told | {
        "block_harvest": bool(row and row.block_recorded),
        "standing_vines": standing,
        "weighed_share": share_of(told["weighed"], standing),
        "counted_share": share_of(told["counted"], standing),
    }


def _lacking(line: Line, row: Row | None) -> Iterator[str]:
    present = {
        "vines": line.head.has_vines,
        "weights": bool(row and row.weighed),
        "counts": bool(row and row.counted),
        "scale_step": not (row and row.without_resolution),
        "formula": not (row and row.without_formula),
        "bud_sample": bool(row and row.bud_samples),
        "harvest": bool(row and row.harvest_records),
        "inspections": bool(row and row.inspections),
        "cultivar": bool(line.head.cultivar_name),
        "training": line.head.training != Training.NOT_STATED,
    }
    yield from (code for code in LACKS if not present[code])


def lacking_counts(shown: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Count the blocks that lack each thing."""
    codes = [each["code"] for line in shown for each in line["lacks"]]
    return [
        {"code": code, "sentence": sentence, "blocks": codes.count(code)}
        for code, sentence in LACKS.items()
        if code in codes
    ]
