"""Read what was kept of snapshots that were made, for judging the next one beside them; and keep the next one."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from django.db import transaction
from django.db.models.functions import Now

from balance.benchmarks.brought import Brought
from balance.benchmarks.deciding import Decided, ToldBefore, cell_at
from balance.benchmarks.models import BenchmarkCell, BenchmarkPart, BenchmarkSnapshot
from balance.formulas.privacy.hierarchy import Cell
from records.access import open_for_work
from records.errors import NotFound
from records.models import Consent
from records.models.jobs import JobState


def made_around(snapshot: BenchmarkSnapshot) -> list[BenchmarkSnapshot]:
    """Give the snapshots of a program that were made of this season and of those beside it, in order."""
    beside = (snapshot.season - 1, snapshot.season, snapshot.season + 1)
    made = BenchmarkSnapshot.objects.filter(
        program=snapshot.program_id, season__in=beside, state=JobState.SUCCEEDED
    ).exclude(pk=snapshot.pk)
    return list(made.order_by("season", "number"))


def told_before(made: Sequence[BenchmarkSnapshot], farms: Iterable[uuid.UUID]) -> list[ToldBefore]:
    """Give what the snapshots told, and what farms brought to them: each farm is opened by itself, to the work alone.

    Parameters
    ----------
    made : sequence of BenchmarkSnapshot
    farms : iterable of UUID
        All that may have been counted in one of them.
    """
    if not made:
        return []
    ids = [each.pk for each in made]
    brought: dict[uuid.UUID, list[Brought]] = defaultdict(list)
    for farm_id in sorted(farms):
        with transaction.atomic():
            try:
                open_for_work(farm_id)
            except NotFound:
                continue
            for part in BenchmarkPart.objects.for_farm(farm_id).filter(snapshot__in=ids):
                brought[part.snapshot_id].append(Brought.of(farm_id, part.grower, part.brought))
    means: dict[uuid.UUID, dict[str, set[Cell]]] = defaultdict(lambda: defaultdict(set))
    spreads: dict[uuid.UUID, dict[str, set[Cell]]] = defaultdict(lambda: defaultdict(set))
    for cell in BenchmarkCell.objects.filter(snapshot__in=ids, mean__isnull=False):
        at = cell_at((cell.dimension, cell.label))
        means[cell.snapshot_id][cell.measure].add(at)
        if cell.spread is not None:
            spreads[cell.snapshot_id][cell.measure].add(at)
    return [
        ToldBefore(each.season, tuple(brought[each.pk]), _frozen(means[each.pk]), _frozen(spreads[each.pk]))
        for each in made
    ]


def _frozen(cells: Mapping[str, set[Cell]]) -> dict[str, frozenset[Cell]]:
    return {measure: frozenset(those) for measure, those in cells.items()}


def cells_of(snapshot: BenchmarkSnapshot) -> tuple[Decided, ...]:
    """Give the cells of a snapshot as they were decided."""
    return tuple(
        Decided(
            cell.measure, (cell.dimension, cell.label), cell.mean, cell.spread, cell.growers, cell.reason_code,
            cell.reason, cell.spread_reason,
        )
        for cell in BenchmarkCell.objects.filter(snapshot=snapshot).order_by("measure", "dimension", "label")
    )  # fmt: skip


def any_ended(snapshot: BenchmarkSnapshot) -> bool:
    """Tell whether a consent has ended of a farm that the snapshot counted."""
    ended = BenchmarkCell.objects.filter(snapshot=snapshot, holds_until__lte=Now())
    return bool(ended.exists())


def keep(
    snapshot_id: uuid.UUID,
    cells: Sequence[Decided],
    brought: Sequence[Brought],
    consents: Mapping[uuid.UUID, Consent],
) -> None:
    """Write the cells and what each farm brought, in the open transaction, which has these farms open."""
    standing = {
        each.farm: [number for number, cell in enumerate(cells) if (cell.measure, cell.place) in each.stands_at()]
        for each in brought
    }
    ids = [uuid.uuid4() for _ in cells]
    BenchmarkCell.objects.bulk_create(
        BenchmarkCell(
            id=ids[number], snapshot_id=snapshot_id, measure=cell.measure, dimension=cell.place[0], label=cell.place[1],
            mean=cell.mean, spread=cell.spread, growers=cell.growers, reason_code=cell.reason_code,
            reason=cell.reason[:400], spread_reason=cell.spread_reason,
            holds_until=_first_end(consents[farm] for farm, places in standing.items() if number in places),
        )
        for number, cell in enumerate(cells)
    )  # fmt: skip
    BenchmarkPart.objects.bulk_create(
        BenchmarkPart(
            farm_id=each.farm, snapshot_id=snapshot_id, consent=consents[each.farm], grower=each.grower,
            brought=each.as_json(), cells=[ids[number] for number in standing[each.farm]],
        )
        for each in brought
    )  # fmt: skip


def _first_end(consents: Iterable[Consent]) -> datetime | None:
    return min((each.valid_until for each in consents if each.valid_until is not None), default=None)
