"""Seasons of invented farms, each unlike the others, and the reports that both sides of the bench make of them."""

from __future__ import annotations

import os
import random
from dataclasses import dataclass
from typing import Any

#: What Django asks for at its start; nothing of it is used.
_SETTINGS = {
    "DJANGO_SETTINGS_MODULE": "vineyard.settings",
    "SECRET_KEY": "only-for-a-bench-that-asks-no-server-anything",
    "DATABASE_URL": "postgresql://nobody@nowhere/none",
    "BROKER_URL": "redis://nowhere:1/0",
}
PARTS = ("On target, within what the scale can tell", "More nodes than the target", "Fewer nodes than the target")
CAUTION = "Guide only, from the records shown. Check bud survival, cultivar and site with your local extension."


@dataclass(frozen=True)
class Season:
    """What was measured on one farm: weights of vines, crop load by season with its interval, counts by season."""

    number: int
    weights: list[float]
    loads: list[tuple[int, float | None, float, float, int]]
    counts: list[tuple[str, tuple[int, int, int]]]
    vines: list[tuple[str, int, float | None, int, int]]

    @property
    def mean(self) -> float:
        return sum(self.weights) / len(self.weights)


def season_of(number: int) -> Season:
    """Draw the season of one farm."""
    chance = random.Random(number)
    weights = [chance.lognormvariate(0.5, 0.4) for _ in range(chance.randint(40, 80))]
    loads: list[tuple[int, float | None, float, float, int]] = []
    for year in range(2018, 2027):
        load = chance.uniform(3, 14)
        loads.append((year, None if chance.random() < 0.15 else load, load - 1, load + 1.2, chance.randint(10, 60)))
    counts = [(str(year), (chance.randint(5, 60), chance.randint(0, 30), chance.randint(0, 20))) for year in (2024, 25)]
    vines: list[tuple[str, int, float | None, int, int]] = [
        (f"Row {chance.randint(1, 40)}, vine {at}", at, None if at % 7 == 0 else chance.uniform(0.2, 4), 40, 44)
        for at in range(1, 13)
    ]
    return Season(number, weights, loads, counts, vines)


def prepare() -> None:
    """Start Django in a worker: the words of a report come from its models."""
    import django

    for name, value in _SETTINGS.items():
        os.environ.setdefault(name, value)
    django.setup()


def document_of(season: Season, *, with_charts: bool) -> dict[str, Any]:
    """Compose the report; the plain side takes it without our charts and draws its own."""
    from balance.reports import document as doc

    load = next(value for _, value, *_ in reversed(season.loads) if value is not None)
    figure = doc.Figure(
        "weight", "Mean pruning weight of a vine", season.mean, "kg", 2, n=len(season.weights), low=season.mean - 0.1,
        high=season.mean + 0.1, interval="95 % interval of the mean",
    )  # fmt: skip
    crop = doc.Figure("load", "Crop load", load, "", 1, n=24, range_low=5, range_high=10, range_source="a bulletin",
                      verdict="within" if 5 <= load <= 10 else "above")  # fmt: skip
    columns = (
        doc.Column("vine", "Vine"), doc.Column("place", "Place", number=True),
        doc.Column("weight", "Weight", "kg", number=True, digits=2), doc.Column("target", "Target", number=True),
        doc.Column("kept", "Kept", number=True),
    )  # fmt: skip
    section = doc.Section(
        "prunings", "Prunings, targets and counts", ("Most vines have a weight.",), (figure, crop),
        (doc.Table("vines", "Vines to look at", columns, tuple(season.vines)),), _charts(season) if with_charts else (),
    )  # fmt: skip
    name = f"Terrace {season.number}"
    line = doc.BlockLine("b", name, "Concord", doc.OVER, "Crop load is above.", (figure, crop), ("It rose.",),
                         ("Leave fewer nodes.",), doc.GOOD, "Many vines weighed.")  # fmt: skip
    page = doc.BlockPage("b", name, "Concord", "own roots", "bilateral cordon", 400, (section,))
    return doc.as_json(
        doc.FarmReport(
            farm=str(season.number), farm_name=f"Farm {season.number} (invented)", region="Harrow Vale (invented)",
            season=2026, units="metric", taken_at="2026-11-20T15:04:06+00:00", made_by="bench", summary=(line,),
            blocks=(page,), sources=(doc.Source("a", 1, "30 + 10", "a bulletin", "READ", "targets"),),
            cautions=(CAUTION,),
        ).checked()
    )  # fmt: skip


def _charts(season: Season) -> tuple[Any, ...]:
    from balance.reports.charts import (
        Assigned,
        Centre,
        Quantity,
        SeasonPoint,
        ShareRow,
        histogram,
        over_seasons,
        shares,
    )

    centre = Centre("mean", season.mean, season.mean - 0.1, season.mean + 0.1, "95 % interval of the mean")
    points = [SeasonPoint(year, load, n, low, high) for year, load, low, high, n in season.loads]
    return (
        histogram("weights", "Pruning weights", season.weights, of=Quantity("Weight of a vine", "kg"), centre=centre),
        over_seasons("loads", "Crop load", points, of=Quantity("Crop load"), assigned=Assigned(5, 10, "a bulletin")),
        shares("counts", "Counts against targets", PARTS, [ShareRow(name, told) for name, told in season.counts]),
    )
