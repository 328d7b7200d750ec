"""Read what snapshots show at this moment: never farms, and nothing in which a farm stands whose consent has ended."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Case, F, Max, Q, Value, When
from django.db.models.functions import Now

from balance.benchmarks.measures import MEASURES, Measured
from balance.benchmarks.models import BenchmarkCell, BenchmarkSnapshot
from balance.reports.programs.labels import ALL
from records.models.jobs import JobState


@dataclass(frozen=True)
class Shown:
    """One measure at one place, as anybody sees it: told or not told, and nothing of why not."""

    measure: Measured
    mean: float | None = None
    spread: float | None = None
    growers: str = ""


@dataclass(frozen=True)
class ForLeads:
    """One cell as the leads of the program see it, and whether the consent of a farm in it has ended."""

    cell: BenchmarkCell
    ended: bool


def _holds() -> Q:
    return Q(holds_until=None) | Q(holds_until__gt=Now())


def newest(program: uuid.UUID, seasons: Iterable[int]) -> dict[int, BenchmarkSnapshot]:
    """Give the newest snapshot that was made of each season."""
    made = BenchmarkSnapshot.objects.filter(program=program, season__in=list(seasons), state=JobState.SUCCEEDED)
    return {each.season: each for each in made.order_by("number")}


def seasons_told(program: uuid.UUID, until: int | None, most: int) -> list[int]:
    """Give the newest seasons with a snapshot, up to one or all, in order."""
    made = BenchmarkSnapshot.objects.filter(program=program, state=JobState.SUCCEEDED)
    made = made if until is None else made.filter(season__lte=until)
    found = made.values("season").annotate(newest=Max("number")).order_by("-season").values_list("season", flat=True)
    return sorted(found[:most])


def shown_at(
    snapshots: Iterable[BenchmarkSnapshot], places: Iterable[tuple[str, str]]
) -> dict[tuple[uuid.UUID, str, str], tuple[Shown, ...]]:
    """Give every measure of snapshots at places, by snapshot, dimension and label.

    A place that is withheld, one that no snapshot names and one where a consent has ended are the same.
    """
    wanted = [(each.pk, dimension, label) for each in snapshots for dimension, label in dict.fromkeys(places)]
    at = Q(pk__in=[])
    for dimension, label in {(dimension, label) for _, dimension, label in wanted}:
        at |= Q(dimension=dimension, label=label)
    cells = BenchmarkCell.objects.filter(at, _holds(), snapshot__in={each[0] for each in wanted}, mean__isnull=False)
    told = {(cell.snapshot_id, cell.dimension, cell.label, cell.measure): cell for cell in cells}

    def shown(key: tuple[uuid.UUID, str, str], measure: Measured) -> Shown:
        cell = told.get((*key, measure.name))
        return Shown(measure) if cell is None else Shown(measure, cell.mean, cell.spread, cell.growers)

    return {key: tuple(shown(key, measure) for measure in MEASURES) for key in wanted}


def label_at(snapshot: BenchmarkSnapshot, dimension: str, asked: str) -> str | None:
    """Give a label as the snapshot writes it, however it was asked for."""
    if dimension == ALL:
        return ""
    cells = BenchmarkCell.objects.filter(snapshot=snapshot, dimension=dimension)
    named = cells.values_list("label", flat=True).distinct()
    key = " ".join(asked.casefold().split())
    return next((label for label in named if " ".join(label.casefold().split()) == key), None)


def cells_for_leads(snapshot: BenchmarkSnapshot) -> list[ForLeads]:
    """Give every cell of a snapshot in order, with the reasons; where a consent has ended, nothing is told any more."""
    places = {measure.name: place for place, measure in enumerate(MEASURES)}
    cells = BenchmarkCell.objects.filter(snapshot=snapshot).annotate(
        holds=Case(When(_holds(), then=Value(True)), default=Value(False))
    )
    in_order = cells.order_by(F("dimension"), "label")
    found = [ForLeads(cell, ended=not cell.holds) for cell in in_order]
    return sorted(found, key=lambda each: (places[each.cell.measure], each.cell.dimension != ALL))
