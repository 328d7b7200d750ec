"""Recall: given one version of a formula, everything that was told by it."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.db.models import Count, Max, QuerySet

from balance.models import PruningTarget, ReportFormula
from records.access import OpenFarm
from records.models import DormantRecord, PruningFormula
from records.models.base import FarmOwned

#: What is kept of what was told by a formula, by its plain name: each names the ``formula`` and says when by
#: ``received_at``.  Whatever else is told by a formula and kept is added here and so is recalled.
TOLD_BY_A_FORMULA: Final[dict[str, type[FarmOwned]]] = {"targets": PruningTarget, "reports": ReportFormula}


@dataclass(frozen=True)
class ToldTarget:
    """One target that was told, beside its record as it stands now."""

    target: PruningTarget
    record: DormantRecord

    @property
    def changed_since(self) -> bool:
        return self.record.version != self.target.record_version

    @property
    def weight_changed_since(self) -> bool:
        return self.record.pruning_weight_kg != self.target.pruning_weight_kg


@dataclass(frozen=True)
class Use:
    """How much of one kind was told on one farm, and when last."""

    count: int
    last_told_at: datetime


def targets_told_by(opened: OpenFarm, formula: PruningFormula, season: int | None = None) -> QuerySet[PruningTarget]:
    """Give the targets of a farm that one version of a formula led to, of one season or of all."""
    told: QuerySet[PruningTarget] = PruningTarget.objects.for_farm(opened.farm).filter(formula=formula)
    if season is None:
        return told
    of_season = DormantRecord.objects.for_farm(opened.farm).filter(season=season).values("pk")
    return told.filter(dormant_record__in=of_season)


def with_records(opened: OpenFarm, targets: Iterable[PruningTarget]) -> Iterator[ToldTarget]:
    """Give each target with its record; a record is withdrawn but never removed, so there is one."""
    listed = list(targets)
    records = DormantRecord.objects.for_farm(opened.farm).in_bulk([target.dormant_record_id for target in listed])
    return (ToldTarget(target, records[target.dormant_record_id]) for target in listed)


def uses_by_farm(farm_ids: list[uuid.UUID], code: str, version: int) -> dict[uuid.UUID, dict[str, Use]]:
    """Count what was told by one version of a formula on farms that the context of the transaction opens.

    A farm's or program's own formula is met where the farm may use it: under one code, each farm has its own.
    """
    found: dict[uuid.UUID, dict[str, Use]] = {}
    for kind, model in TOLD_BY_A_FORMULA.items():
        kept: Any = model.objects
        rows = kept.filter(farm_id__in=farm_ids, formula__code=code, formula__formula_version=version)
        counted = rows.order_by().values("farm_id").annotate(count=Count("pk"), last=Max("received_at"))
        for row in counted:
            found.setdefault(row["farm_id"], {})[kind] = Use(row["count"], row["last"])
    return found
