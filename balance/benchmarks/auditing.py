"""The privacy audit of all that benchmarks ever told: for a command, and for whoever may see what it finds."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from balance.benchmarks.deciding import place_of, question_of
from balance.benchmarks.keeping import told_before
from balance.benchmarks.measures import MEASURES
from balance.benchmarks.models import BenchmarkCell, BenchmarkSnapshot
from balance.formulas.privacy.audit import Finding, audit
from balance.formulas.privacy.spreads import audit_spreads
from records.models import Program
from records.models.jobs import JobState

#: Seasons that are tried together: each beside the one before it and the one after.
TOGETHER: Final = 3


@dataclass(frozen=True)
class Audited:
    """One measure over some seasons of a program: how much was told, and what a reader could work out."""

    program: Program
    seasons: tuple[int, ...]
    measure: str
    cells: int
    told: int
    spreads: int
    findings: tuple[str, ...]


def audit_program(
    program: Program, farms: Iterable[uuid.UUID], watch: Callable[[], object] = lambda: None
) -> Iterator[Audited]:
    """Try all that was told of a program, every version of every season, also what is not shown any more.

    Parameters
    ----------
    program : Program
    farms : iterable of UUID
        All that may have been counted.
    watch : callable, optional
        Called often, while it works.
    """
    made = BenchmarkSnapshot.objects.filter(program=program, state=JobState.SUCCEEDED).order_by("season", "number")
    snapshots, known = list(made), sorted(set(farms))
    for seasons in windows(sorted({each.season for each in snapshots})):
        those = [each for each in snapshots if each.season in seasons]
        before = told_before(those, known)
        for measure in MEASURES:
            asked = question_of(measure.name, (), before)
            found = (
                *audit(asked.before, asked.hierarchy, watch=watch),
                *audit_spreads(asked.before, asked.hierarchy, watch=watch),
            )
            cells = BenchmarkCell.objects.filter(snapshot__in=those, measure=measure.name)
            yield Audited(
                program,
                seasons,
                measure.name,
                cells.count(),
                cells.filter(mean__isnull=False).count(),
                cells.filter(spread__isnull=False).count(),
                tuple(said(each, those) for each in found),
            )


def windows(seasons: list[int]) -> list[tuple[int, ...]]:
    """Give the seasons that are tried together: those within ``TOGETHER`` years, from each season on.

    Examples
    --------
    >>> windows([2026, 2027, 2028, 2029, 2033])
    [(2026, 2027, 2028), (2027, 2028, 2029), (2033,)]
    """
    runs = [tuple(each for each in seasons if first <= each < first + TOGETHER) for first in seasons]
    return [run for place, run in enumerate(runs) if not any(set(run) < set(other) for other in runs[:place])]


def said(finding: Finding, snapshots: list[BenchmarkSnapshot]) -> str:
    """Say what was found; it names farms."""
    told = ", ".join(
        f"season {snapshots[place].season} snapshot {snapshots[place].number} {' '.join(place_of(cell)).strip()}"
        for place, cell in finding.told
    )
    reader = f" by {finding.reader}" if finding.reader else ""
    bounds = f" between {finding.low:.6g} and {finding.high:.6g}" if finding.low is not None else ""
    return f"{finding.kind}: {', '.join(finding.farms)}{bounds}{reader}; from {told}"
