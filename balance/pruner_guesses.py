"""What the pruners of a farm guessed before they weighed, summed up by the database."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Avg, Count, ExpressionWrapper, F, FloatField, Q, QuerySet, StdDev
from django.db.models.functions import NullIf

from balance.formulas.guesses.calibration import Differences
from balance.seasons_on_record import newest_season_of
from records.access import OpenFarm
from records.models import DormantRecord

#: More pruners than this in a season are asked for by name.
MOST_PRUNERS: Final = 100


@dataclass(frozen=True)
class Guesses:
    """The guesses of one pruner in one season: guess less weight in kilograms, and in percent of each weight."""

    pruner: str
    season: int
    differences: Differences
    percent: Differences


@dataclass(frozen=True)
class GuessesOfSeason:
    """The guesses of a season by pruner, and what was left out.

    ``without_pruner`` counts vines that somebody guessed and weighed without saying who; ``left_out`` says whether
    there are more pruners than are answered at once.
    """

    season: int | None
    guesses: list[Guesses]
    without_pruner: int
    left_out: bool


def guesses_of(opened: OpenFarm, season: int | None, pruner: str | None) -> GuessesOfSeason:
    """Sum up the guesses of a farm by pruner; without a season, those of the newest that has any."""
    pairs = DormantRecord.objects.for_farm(opened.farm).filter(
        withdrawn_at=None, guessed_weight_kg__isnull=False, pruning_weight_kg__isnull=False
    )
    named = pairs.filter(pruner=pruner) if pruner is not None else pairs.exclude(pruner="")
    if season is None:
        season = newest_season_of(named)
    rows = list(_summed(named.filter(season=season))[: MOST_PRUNERS + 1])
    return GuessesOfSeason(
        season=season,
        guesses=[_guesses(row) for row in rows[:MOST_PRUNERS]],
        without_pruner=pairs.filter(season=season, pruner="").count(),
        left_out=len(rows) > MOST_PRUNERS,
    )


def _summed(pairs: QuerySet[DormantRecord]) -> QuerySet[Any, Any]:
    guess, weight = F("guessed_weight_kg"), F("pruning_weight_kg")
    off = ExpressionWrapper(guess - weight, output_field=FloatField())
    percent = ExpressionWrapper(100 * (guess - weight) / NullIf(weight, 0), output_field=FloatField())
    return (
        pairs.values("pruner", "season")
        .annotate(
            pairs=Count("id"),
            bias=Avg(off),
            spread=StdDev(off, sample=True),
            mean_weight=Avg(weight),
            heavier=Count("id", filter=Q(pruning_weight_kg__gt=0)),
            percent_bias=Avg(percent),
            percent_spread=StdDev(percent, sample=True),
        )
        .order_by("pruner")
    )


def _guesses(row: dict[str, Any]) -> Guesses:
    bias, spread, mean_weight, percent_bias, percent_spread = (
        _float(row[name]) for name in ("bias", "spread", "mean_weight", "percent_bias", "percent_spread")
    )
    return Guesses(
        pruner=row["pruner"],
        season=row["season"],
        differences=Differences(row["pairs"], bias, spread, mean_weight),
        percent=Differences(row["heavier"], percent_bias, percent_spread, None),
    )


def _float(value: Any) -> float | None:
    return None if value is None else float(value)
