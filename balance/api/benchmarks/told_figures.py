"""How a figure of many growers is shown: told, or not told for reasons that stay untold."""

from __future__ import annotations

from typing import Any, Final

from drf_spectacular.utils import OpenApiExample
from rest_framework import serializers

from balance.api.figures import FigureOut, figure
from balance.benchmarks.measures import BY_NAME, NAMES, SHELTER
from balance.benchmarks.placing import NOT_TOLD
from balance.benchmarks.reading import Shown
from balance.reports.programs.labels import ALL, CULTIVAR, REGION, TRAINING

DIMENSIONS_SHOWN: Final = (ALL, REGION, CULTIVAR, TRAINING, SHELTER)
GROWERS_HELP: Final = "How many growers stand behind it, as a band: 5-9, 10-19 or 20+; empty where it is not told."


class ToldFigureOut(serializers.Serializer[Any]):
    """One measure of many growers."""

    measure = serializers.ChoiceField(choices=NAMES)
    title = serializers.CharField()
    mean = FigureOut(help_text="Weighted: see weighted_by.")
    spread = FigureOut(help_text="Standard deviation between plantings of the growers, weighted like the mean.")
    weighted_by = serializers.CharField()
    growers = serializers.CharField(help_text=GROWERS_HELP)


def told_figure(shown: Shown) -> dict[str, Any]:
    """Show a measure; whether it is withheld or there is none looks the same."""
    unit = shown.measure.unit
    return {
        "measure": shown.measure.name,
        "title": shown.measure.title,
        "mean": figure(shown.mean, unit, reason=NOT_TOLD if shown.mean is None else None),
        "spread": figure(shown.spread, unit, reason=NOT_TOLD if shown.spread is None else None),
        "weighted_by": shown.measure.weighted_by,
        "growers": shown.growers,
    }


def example_of(measure: str, mean: float | None, spread: float | None) -> dict[str, Any]:
    """Give an invented example of a measure."""
    return told_figure(Shown(BY_NAME[measure], mean, spread, "10-19" if mean is not None else ""))


def example(name: str, value: Any) -> OpenApiExample:
    """Give an example of an answer."""
    return OpenApiExample(name, value=value, response_only=True, status_codes=["200"])
