"""A season at a glance: weights, targets and counts, crop load, cordons, and how complete the records are."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any, Final

from balance.formulas.cordons.blank_share import blank_share
from balance.formulas.cordons.reminders import SAYS
from balance.formulas.ranges import ABOVE, BELOW, WITHIN
from balance.formulas.summaries.shares import share_of
from balance.reports.document import STANDINGS
from balance.reports.quantities import Measure, Units
from balance.summaries.distributions import weights_of
from balance.summaries.due_tasks import Work, in_order, together
from balance.summaries.lines import BLOCK, Line, Read
from balance.summaries.rows import Row

NOTHING_TO_JUDGE: Final = "No vine has both a target and a count."
NOBODY_SAID: Final = "No cordon inspected in this season says both what is blank and what there is."
NONE_TO_SHARE: Final = "The cordons that say it have none at all, so there is nothing to take a share of."
_DECIMALS: Final = 6


def glance_of(read: Read, units: Units) -> dict[str, Any]:
    """Give the members of a season at a glance."""
    lines, rows = read.lines, read.rows
    one = lines[0] if read.scope.kind == BLOCK else None
    return {
        "farms": len({line.farm.pk for line in lines}),
        "blocks": len(lines),
        "blocks_recorded": sum(row.says_anything for row in rows),
        "places": sum(row.places for row in rows),
        "missing_vines": sum(row.missing for row in rows),
        "standing_vines": sum(row.standing for row in rows),
        "young_vines": sum(row.young_vines for row in rows),
        "weights": weights_of(rows, units.vine_weight),
        "counts": counts_of(rows),
        "standing": one.standing[0] if one else None,
        "why": one.standing[1] if one else None,
        "standings": _standings(lines),
        "crop_load": _crop_load(one, units) if one else None,
        "crop_loads": crop_loads_of([line.judged.verdict if line.judged else "" for line in lines]),
        "cordons": _cordons(rows, together(line.work for line in lines), units.length),
        "completeness": complete_of(rows),
    }


def counts_of(rows: Sequence[Row]) -> dict[str, Any]:
    """Give the targets of these blocks and how the counts lie against them."""
    judged, targets = sum(row.judged for row in rows), sum(row.targets for row in rows)
    too_many, too_few = sum(row.too_many for row in rows), sum(row.too_few for row in rows)
    return {
        "targets": targets,
        "mean_target": _mean((row.target_sum for row in rows), targets),
        "below_formula_range": sum(row.below_range for row in rows),
        "above_formula_range": sum(row.above_range for row in rows),
        "in_training": sum(row.in_training for row in rows),
        "without_formula": sum(row.without_formula for row in rows),
        "counted": sum(row.counted for row in rows),
        "judged": judged,
        "within": judged - too_many - too_few,
        "too_many": too_many,
        "too_few": too_few,
        "mean_difference": _mean((row.difference_sum for row in rows), judged),
        "mean_tolerance": _mean((row.tolerance_sum for row in rows), judged),
        "reason": None if judged else NOTHING_TO_JUDGE,
    }


def _mean(sums: Any, n: int) -> float | None:
    return round(sum(each or 0.0 for each in sums) / n, _DECIMALS) if n else None


def _standings(lines: Sequence[Line]) -> dict[str, int]:
    found = Counter(line.standing[0] for line in lines)
    return {standing: found[standing] for standing in STANDINGS}


def crop_loads_of(verdicts: Sequence[str | None]) -> dict[str, int]:
    """Count blocks by the verdict on their crop load; None: no range, an empty text: no crop load."""
    found = Counter(verdicts)
    return {
        "known": len(verdicts) - found[""],
        "below": found[BELOW],
        "within": found[WITHIN],
        "above": found[ABOVE],
        "without_range": found[None],
        "not_known": found[""],
    }


def _crop_load(line: Line, units: Units) -> dict[str, Any]:
    return {"now": load_shown(line, line.season, units), "before": load_shown(line, _before(line.season), units)}


def _before(season: int | None) -> int | None:
    return None if season is None else season - 1


def load_shown(line: Line, season: int | None, units: Units) -> dict[str, Any] | None:
    """Give the crop load of one harvest on the firmest basis, with its two sides and its range."""
    if season is None:
        return None
    load = line.load_of(season)
    yielded = units.block_yield
    return {
        "season": season,
        "pruning_season": season + 1,
        "basis": load.basis,
        "value": load.quotient.value,
        "unit": "1",
        "reason": load.quotient.reason,
        "range": line.assigned.shown() if line.assigned else None,
        "verdict": line.verdict_of(load),
        "low": load.low,
        "high": load.high,
        "yield": yielded.of(load.yield_kg),
        "pruning_weight": yielded.of(load.pruning_kg),
        "weight_unit": yielded.unit,
        "vines": load.vines,
    }


def _cordons(rows: Sequence[Row], work: Work, length: Measure) -> dict[str, Any]:
    blank, living = sum(row.blank_positions for row in rows), sum(row.living_positions for row in rows)
    cases, tasks = in_order(work)
    return {
        "inspections": sum(row.inspections for row in rows),
        "inspected": sum(row.cordons for row in rows),
        "positions": _share(sum(row.cordons_by_position for row in rows), blank, blank + living, Measure("", 1, 0)),
        "length": _share(
            sum(row.cordons_by_length for row in rows),
            sum(row.blank_length or 0.0 for row in rows),
            sum(row.cordon_length or 0.0 for row in rows),
            length,
        ),
        "open_cases": work.open_cases,
        "cases": [{"step": step, "count": count} for step, count in cases],
        "tasks_due": sum(due for _, due, _ in tasks),
        "tasks_overdue": sum(overdue for _, _, overdue in tasks),
        "tasks": [
            {"task": task, "name": SAYS[task].name, "due": due, "overdue": overdue} for task, due, overdue in tasks
        ],
    }


def _share(cordons: int, blank: float, whole: float, measure: Measure) -> dict[str, Any]:
    share = blank_share(blank, whole)
    return {
        "cordons": cordons,
        "blank": measure.of(blank),
        "living": measure.of(whole - blank),
        "unit": measure.unit,
        "blank_share": share,
        "reason": None if share is not None else NONE_TO_SHARE if cordons else NOBODY_SAID,
    }


def blank_share_of(rows: Sequence[Row]) -> tuple[float | None, int]:
    """Give the blank share by spur positions [%], and over how many cordons."""
    blank, living = sum(row.blank_positions for row in rows), sum(row.living_positions for row in rows)
    return blank_share(blank, blank + living), sum(row.cordons_by_position for row in rows)


def complete_of(rows: Sequence[Row]) -> dict[str, Any]:
    """Give how much of what stands was weighed and counted, and of how many blocks the rest is known."""
    standing = sum(row.standing for row in rows)
    weighed, counted = sum(row.weighed for row in rows), sum(row.counted for row in rows)
    return {
        "standing_vines": standing,
        "weighed": weighed,
        "weighed_share": share_of(weighed, standing),
        "counted": counted,
        "counted_share": share_of(counted, standing),
        "blocks_weighed": sum(row.weighed > 0 for row in rows),
        "blocks_counted": sum(row.counted > 0 for row in rows),
        "blocks_with_harvest": sum(row.harvest_records > 0 for row in rows),
        "blocks_inspected": sum(row.inspections > 0 for row in rows),
    }
