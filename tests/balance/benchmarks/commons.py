"""The village whose farms let the program's benchmarks count them, and ways to ask for them."""

from __future__ import annotations

import uuid
from typing import Any

from django.db import connection

from balance.benchmarks import making
from balance.benchmarks.models import BenchmarkCell, BenchmarkSnapshot
from tests.balance.reports.village import Grower, Village

SEASON = 2026


class Commons(Village):
    """A village that is counted for benchmarks and for nothing else."""

    def __init__(self, cast: Any, many: int = 12) -> None:
        super().__init__(cast, many, purpose="benchmarks")

    @property
    def url(self) -> str:
        return f"/api/v1/programs/{self.program.pk}/benchmarks"

    def ask(self, client: Any = None, season: int = SEASON, units: str = "", **more: Any) -> Any:
        return (client or self.lead.client).post(self.url, {"season": season, **more}, format="json")

    def made(self, season: int = SEASON, units: str = "") -> dict[str, Any]:
        """Ask for a snapshot, let a worker make it, and give it as the lead sees it then."""
        asked = self.ask(season=season)
        assert asked.status_code == 202, asked.json()
        making.run(uuid.UUID(asked.json()["id"]))
        return self.told(asked.json()["id"])

    def begins_anew(self) -> None:
        """Take away every snapshot, and let every farm take part."""
        with connection.cursor() as cursor:
            cursor.execute("TRUNCATE benchmark_snapshot, benchmark_cell, benchmark_part, visit")
        for grower in self.growers:
            grower.consents_again(self.program, "benchmarks")

    def summary(self, client: Any = None, **query: Any) -> Any:
        return (client or self.lead.client).get(f"/api/v1/programs/{self.program.pk}/season-summary", query)

    def seen_by(self, grower: Grower, client: Any = None, season: int = SEASON) -> Any:
        address = f"{grower.url}/blocks/{grower.block.pk}/benchmark"
        return (client or grower.client).get(address, {"season": season})


def cell(told: dict[str, Any], measure: str = "pruning_weight", dimension: str = "all", label: str = "") -> Any:
    """Give one cell of a snapshot as the leads see it; none where it has no such cell."""
    found = [c for c in told["cells"] if (c["measure"], c["dimension"], c["label"]) == (measure, dimension, label)]
    return found[0] if found else None


def among(answer: Any, dimension: str = "all", measure: str = "pruning_weight") -> dict[str, Any]:
    """Give what a grower sees of one measure at one place, in the first program."""
    place = next(each for each in answer.json()["programs"][0]["places"] if each["dimension"] == dimension)
    found: dict[str, Any] = next(each for each in place["measures"] if each["measure"] == measure)
    return found


def kept(snapshot: dict[str, Any]) -> tuple[BenchmarkSnapshot, list[BenchmarkCell]]:
    """Give what stands in the database of a snapshot."""
    row = BenchmarkSnapshot.objects.get(pk=snapshot["id"])
    return row, list(BenchmarkCell.objects.filter(snapshot=row).order_by("measure", "dimension", "label"))
