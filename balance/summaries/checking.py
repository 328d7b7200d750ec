"""Hold what is kept of blocks and seasons to a recount from the records, made by other code: numpy and the formulas.

The rows are kept by SQL (``balance.summaries.sql``).  Here the same figures come from the functions that answer for a
single block everywhere else, so that an error would have to be made twice.
"""

from __future__ import annotations

import math
import uuid
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from balance.blocks import BlockTargets, targets_of_block
from balance.cordons.blank_share import blank_cordon_of
from balance.cordons.models import CordonCase, CordonStep
from balance.crops.block_crops import crops_of
from balance.formulas.samples.far_out import far_out
from balance.missing_vines import places_in
from balance.models import TargetStatus
from balance.summaries.rows import BIN_KG, BINS, QUANTILES, Row, rows_of
from records.access import OpenFarm
from records.kinds import KINDS
from records.models import Block, CordonInspection, DormantRecord, HarvestRecord
from records.models.base import FarmQuerySet
from records.services.recording import MODELS

#: Sums of floating numbers in another order differ by less than this share.
_CLOSE: Final = 1e-9


@dataclass(frozen=True)
class Difference:
    """One figure that is kept otherwise than the records say."""

    block_id: uuid.UUID
    season: int
    figure: str
    kept: Any
    recounted: Any

    def __str__(self) -> str:
        return f"block {self.block_id}, season {self.season}: {self.figure} is {self.kept}, recounted {self.recounted}"


def differences_of(opened: OpenFarm, block: Block) -> Iterator[Difference]:
    """Recount every season of a block and give what is kept otherwise, a missing row included."""
    kept = {row.season: row for row in rows_of([opened.farm.pk], 0, 9999, [block.pk])}
    for season in sorted(kept.keys() | _seasons_of(opened, block)):
        recounted = recount(opened, block, season)
        row = kept.get(season)
        if row is None:
            yield Difference(block.pk, season, "the row", "missing", "there are records")
            continue
        for name, expected in recounted.items():
            value = getattr(row, name)
            if not _alike(value, expected):
                yield Difference(block.pk, season, name, value, expected)


def recount(opened: OpenFarm, block: Block, season: int) -> dict[str, Any]:
    """Give every figure of one season of a block, computed from its records."""
    found: dict[str, Any] = {
        **_places(opened, block, season),
        **_winter(opened, block, season),
        **_harvest(opened, block, season),
        **_cordons(opened, block, season),
    }
    for kind in ("bud_sample", "shoot_count", "cluster_count"):
        found[f"{kind}s"] = _live(opened, block, kind).filter(season=season).count()
    left_out = {each.name for each in fields(Row)} - found.keys() - {"farm_id", "block_id", "season"}
    if left_out:
        raise AssertionError(f"no recount of {', '.join(sorted(left_out))}")
    return found


def _live(opened: OpenFarm, block: Block, kind: str) -> FarmQuerySet:
    model: Any = MODELS[kind]
    found: FarmQuerySet = model.objects.for_farm(opened.farm).filter(block=block, withdrawn_at=None)
    return found


def _seasons_of(opened: OpenFarm, block: Block) -> set[int]:
    return {season for kind in KINDS for season in _live(opened, block, kind).values_list("season", flat=True)}


def _places(opened: OpenFarm, block: Block, season: int) -> dict[str, Any]:
    places = places_in(opened, block, season)
    return {"places": places.count, "missing": places.missing, "young_vines": places.young}


def _winter(opened: OpenFarm, block: Block, season: int) -> dict[str, Any]:
    found = targets_of_block(opened, block, season, whole=True)
    recorded: NDArray[np.bool_] = np.any(found.walked.records, axis=1)
    weights = found.walked.weights_kg[recorded]
    weighed = weights[~np.isnan(weights)]
    guesses = DormantRecord.objects.for_farm(opened.farm).filter(block=block, season=season, withdrawn_at=None)
    return {
        "records": int(recorded.sum()),
        "weighed": weighed.size,
        "zero_weights": int((weighed == 0).sum()),
        "far_out_weights": int(far_out(weighed).sum()),
        "without_resolution": int((~np.isnan(weights) & np.isnan(found.walked.resolutions_kg[recorded])).sum()),
        "guessed": guesses.exclude(guessed_weight_kg=None).count(),
        **_of_weights(weighed),
        **_of_targets(found, recorded),
    }


def _of_weights(weighed: NDArray[np.float64]) -> dict[str, Any]:
    if not weighed.size:
        names = ("sum", "mean", "deviation", "least", "most", "quantiles", "bins")
        return {f"weight_{name}": None for name in names}
    bins = np.bincount(np.minimum((weighed / BIN_KG).astype(int), BINS - 1), minlength=BINS)
    return {
        "weight_sum": float(weighed.sum()),
        "weight_mean": float(weighed.mean()),
        "weight_deviation": float(weighed.std(ddof=1)) if weighed.size > 1 else None,
        "weight_least": float(weighed.min()),
        "weight_most": float(weighed.max()),
        "weight_quantiles": np.quantile(weighed, QUANTILES).tolist(),
        "weight_bins": bins.tolist(),
    }


def _of_targets(found: BlockTargets, recorded: NDArray[np.bool_]) -> dict[str, Any]:
    """Count only vines with a record: of the others nothing was told."""
    status = found.targets.status[recorded]
    nodes, kept = found.targets.nodes[recorded], found.walked.retained[recorded]
    outcome, weighed = found.outcome[recorded], ~np.isnan(found.walked.weights_kg[recorded])
    judged = outcome != ""
    return {
        "targets": int((~np.isnan(nodes)).sum()),
        "target_sum": _sum(nodes),
        "below_range": int((status == TargetStatus.BELOW_FORMULA_RANGE).sum()),
        "above_range": int((status == TargetStatus.ABOVE_FORMULA_RANGE).sum()),
        "in_training": int((status == TargetStatus.YOUNG_VINE).sum()),
        "without_formula": int(((status == TargetStatus.NO_FORMULA) & weighed).sum()),
        "counted": int((~np.isnan(kept)).sum()),
        "kept_sum": _sum(kept),
        "judged": int(judged.sum()),
        "too_many": int((outcome == "too_many").sum()),
        "too_few": int((outcome == "too_few").sum()),
        "difference_sum": _sum(found.difference[recorded]),
        "tolerance_sum": _sum(np.where(judged, found.tolerance[recorded], np.nan)),
    }


def _sum(values: NDArray[np.float64]) -> float | None:
    known = values[~np.isnan(values)]
    return float(known.sum()) if known.size else None


def _harvest(opened: OpenFarm, block: Block, season: int) -> dict[str, Any]:
    crop = crops_of(opened, block, season).get(season)
    own: dict[uuid.UUID, list[Any]] = {}
    harvests = HarvestRecord.objects.for_farm(opened.farm).filter(block=block, season=season, withdrawn_at=None)
    for vine, picked in harvests.filter(scope="vine").values_list("vine_id", "yield_kg"):
        own.setdefault(vine, []).append(picked)
    whole = [float(sum(parts)) for parts in own.values() if None not in parts]
    yields = np.array(whole, dtype=np.float64)
    paired = crop is not None and crop.pairs > 0
    return {
        "harvest_records": harvests.count(),
        "block_recorded": crop is not None and crop.block_recorded,
        "block_yield": crop.block_kg if crop else None,
        "sample_yield": crop.sample_kg if crop else None,
        "sample_vines": crop.sample_vines if crop else 0,
        "pairs": crop.pairs if crop else 0,
        "pairs_crop": crop.pairs_crop_kg if crop and paired else None,
        "pairs_wood": crop.pairs_wood_kg if crop and paired else None,
        "vines_picked": yields.size,
        "vine_yield_mean": float(yields.mean()) if yields.size else None,
        "vine_yield_deviation": float(yields.std(ddof=1)) if yields.size > 1 else None,
        "vine_yield_quantiles": np.quantile(yields, QUANTILES).tolist() if yields.size else None,
    }


def _cordons(opened: OpenFarm, block: Block, season: int) -> dict[str, Any]:
    found = next(iter(blank_cordon_of(opened, [block.pk], season, season)), None)
    looks = CordonInspection.objects.for_farm(opened.farm).filter(block=block, season=season, withdrawn_at=None)
    by_position, by_length = (found.positions, found.length) if found else (None, None)
    return {
        "inspections": looks.count(),
        "cordons": looks.values("vine_id", "cordon").distinct().count(),
        "cordons_by_position": by_position.cordons if by_position else 0,
        "blank_positions": int(by_position.blank) if by_position else 0,
        "living_positions": int(by_position.whole - by_position.blank) if by_position else 0,
        "cordons_by_length": by_length.cordons if by_length else 0,
        "blank_length": by_length.blank if by_length and by_length.cordons else None,
        "cordon_length": by_length.whole if by_length and by_length.cordons else None,
        "cases": _cases(opened, block, season),
    }


def _cases(opened: OpenFarm, block: Block, season: int) -> dict[str, int]:
    live = CordonCase.objects.for_farm(opened.farm).filter(block=block, withdrawn_at=None)
    steps = CordonStep.objects.for_farm(opened.farm).filter(case__in=live.values("id"), season__lte=season)
    newest = dict(steps.order_by("number").values_list("case_id", "step"))
    return dict(Counter(newest.values()))


def _alike(kept: Any, recounted: Any) -> bool:
    if isinstance(kept, list) and isinstance(recounted, list):
        return len(kept) == len(recounted) and all(map(_alike, kept, recounted))
    if isinstance(kept, float) and isinstance(recounted, int | float):
        return math.isclose(kept, recounted, rel_tol=_CLOSE, abs_tol=_CLOSE)
    return bool(kept == recounted)
