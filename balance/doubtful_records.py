"""What lacks or looks doubtful in a block's records of one season, counted: a person looks, nothing is changed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from balance.blocks import BlockTargets
from balance.formulas.buds.bud_explanation import UNPRUNED_BUDS
from balance.formulas.samples.far_out import far_out
from balance.models import TargetStatus
from balance.packed import one_row
from balance.samples.sampling import Frame
from records.access import OpenFarm
from records.kinds import KINDS
from records.models import Block, BudSample, HarvestRecord

_OF_A_KIND: Final = """
    SELECT version, withdrawn_at FROM {} WHERE farm_id = %(farm)s AND block_id = %(block)s AND season = %(season)s
"""
_CORRECTED: Final = f"""
    SELECT count(*) FILTER (WHERE withdrawn_at IS NULL AND version > 1),
           coalesce(sum(version - 1) FILTER (WHERE withdrawn_at IS NULL), 0)::int,
           count(*) FILTER (WHERE withdrawn_at IS NOT NULL)
    FROM ({" UNION ALL ".join(_OF_A_KIND.format(name) for name in KINDS)}) AS records
"""  # noqa: S608 - joined from constants


@dataclass(frozen=True)
class Corrections:
    """Records of a season that were corrected or withdrawn, of every kind.

    Attributes
    ----------
    corrected, versions : int
        Records that stand and were corrected, and how many versions of them were replaced.
    withdrawn : int
    """

    corrected: int
    versions: int
    withdrawn: int


@dataclass(frozen=True)
class OfWinter:
    """What lacks and what is doubtful among the weighings of one winter [vines].

    Attributes
    ----------
    not_weighed : int
        Standing vines without a weight.
    counted_only : int
        With a count and no weight.
    without_resolution : int
        With a weight, and nobody said the scale's smallest step.
    without_formula : int
        With a weight, and no formula answers.
    zero : int
        With a weight of zero.
    far_out : int
        With a weight far outside the rest of the block.
    too_many_nodes : int
        With more nodes left than a vine has that nobody pruned.
    of_missing_vines : int
        With a weight or a count, though the place was said to have no vine.
    """

    not_weighed: int
    counted_only: int
    without_resolution: int
    without_formula: int
    zero: int
    far_out: int
    too_many_nodes: int
    of_missing_vines: int


def corrections_of(opened: OpenFarm, block: Block, season: int) -> Corrections:
    """Count what was corrected and withdrawn of a block's records of one season."""
    return Corrections(*one_row(_CORRECTED, {"farm": opened.farm.pk, "block": block.pk, "season": season}))


def doubts_of_winter(targets: BlockTargets, frame: Frame) -> OfWinter:
    """Count what lacks and what is doubtful among the weighings of a winter."""
    walked = targets.walked
    weighed, counts = ~np.isnan(walked.weights_kg), ~np.isnan(walked.retained)
    return OfWinter(
        not_weighed=_many(frame.stands & ~weighed),
        counted_only=_many(counts & ~weighed),
        without_resolution=_many(weighed & np.isnan(walked.resolutions_kg)),
        without_formula=_many(weighed & (targets.targets.status == TargetStatus.NO_FORMULA)),
        zero=_many(walked.weights_kg == 0),
        far_out=_many(far_out(walked.weights_kg)),
        too_many_nodes=_many(walked.retained > UNPRUNED_BUDS),
        of_missing_vines=_many(~frame.stands & (weighed | counts)),
    )


def pickings_not_weighed(opened: OpenFarm, block: Block, season: int) -> int:
    """Count the pickings of a season that nobody weighed."""
    live = HarvestRecord.objects.for_farm(opened.farm).filter(block=block, season=season, withdrawn_at=None)
    return live.filter(yield_kg=None).count()


def newest_buds_before(opened: OpenFarm, block: Block, season: int) -> int | None:
    """Give the newest season before this one in which buds of the block were read; None: never."""
    live = BudSample.objects.for_farm(opened.farm).filter(block=block, season__lt=season, withdrawn_at=None)
    found: int | None = (
        live.exclude(primary_alive=None).order_by("-season").values_list("season", flat=True).first()
    )  # fmt: skip
    return found


def _many(mask: NDArray[np.bool_]) -> int:
    return int(np.count_nonzero(mask))
