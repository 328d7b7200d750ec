"""Crop load and trend: each harvest over the prunings of the winter after it, and how the vines' size has moved."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Final, TypeVar

from balance.crops.block_crops import PAIRED_VINES, SAMPLES, WHOLE_BLOCK, BlockLoad
from balance.crops.crop_words import ADVICE_ONLY, NO_RANGE, OTHER_VINES
from balance.formulas.counting import counted
from balance.formulas.crops.size_trend import NOT_ENOUGH_YEARS
from balance.formulas.crops.winters import Winter
from balance.reports.charts import Assigned, Quantity, SeasonPoint, over_seasons
from balance.reports.document import Cell, Chart, Column, Figure, Section, Table
from balance.reports.facts import CONFIDENCE, CONFIDENCE_OF_TREND, SEASONS_SHOWN, Facts
from balance.reports.figures import PERCENT, RATIO, Ends, against, figure, range_said

_Of = TypeVar("_Of")
CODE: Final = "crop_load"
TITLE: Final = "Crop load and vine size over the years"
_NOTHING: Final = "Neither a harvest nor prunings of the block are on record up to this season."
_INTERVAL: Final = f"{CONFIDENCE:g} % interval; only the mean of the prunings is uncertain in it"
_CHANGE_INTERVAL: Final = f"{CONFIDENCE_OF_TREND} % interval"
_BASES: Final = {
    WHOLE_BLOCK: "whole block",
    SAMPLES: "sampled vines",
    PAIRED_VINES: "vines with both sides",
}


def section(facts: Facts) -> Section:
    """Compose the section of one block."""
    told, crop = facts.trend, facts.crop
    any_crop = crop.block_recorded or crop.sample_vines or crop.pairs
    if not (told.winters or told.loads or any_crop):
        return Section(CODE, TITLE, reason=_NOTHING)
    return Section(
        CODE,
        TITLE,
        sentences=tuple(_sentences(facts)),
        figures=(*_loads(facts), *_changes(facts)),
        tables=(_loads_table(facts), _winters_table(facts)),
        charts=tuple(_charts(facts)),
    )


def _loads(facts: Facts) -> Iterator[Figure]:
    """Give the crop load of the harvest and, where that cannot be told yet, of the one before."""
    yield _load_figure(facts, "crop_load", facts.season, facts.load)
    judged = facts.judged
    if judged is not None and judged.season != facts.season:
        yield _load_figure(facts, "crop_load_of_the_season_before", judged.season, judged.load)


def _load_figure(facts: Facts, code: str, season: int, load: BlockLoad) -> Figure:
    value = load.quotient.value
    winter = facts.trend.winters.get(season + 1)
    n = load.vines if load.basis == PAIRED_VINES else winter.n if winter else None
    title = f"Crop load of the harvest of {season}"
    told = figure(
        code, title, RATIO, value, n=n, ends=Ends(load.low, load.high, _INTERVAL), reason=load.quotient.reason
    )
    return against(told, RATIO, value, facts.crop_range)


def _changes(facts: Facts) -> Iterator[Figure]:
    trend, years = facts.trend.trend, len(facts.trend.trend.seasons)
    told = figure(
        "change_a_year", "Change of mean pruning weight a year", PERCENT, _percent(trend.change), n=years,
        ends=Ends(_percent(trend.low), _percent(trend.high), _CHANGE_INTERVAL), reason=trend.reason,
    )  # fmt: skip
    yield told
    yield replace(
        figure("change_in_all", "From the first winter to the last, along the line", PERCENT, _percent(trend.over_all)),
        n=years, reason="" if trend.over_all is not None else trend.reason,
    )  # fmt: skip


def _percent(share: float | None) -> float | None:
    return None if share is None else round(100 * share, 6)


def _loads_table(facts: Facts) -> Table:
    mass = facts.reading.units.block_yield
    weight = facts.reading.units.vine_weight
    columns = (
        Column("season", "Harvest", number=True),
        Column("pruning_season", "Prunings of season", number=True),
        Column("basis", "Of"),
        Column("vines", "Vines", number=True),
        Column("yield", "Yield", mass.unit, number=True, digits=weight.digits),
        Column("prunings", "Prunings", mass.unit, number=True, digits=weight.digits),
        Column("crop_load", "Crop load", number=True, digits=RATIO.digits),
        Column("low", "Low", number=True, digits=RATIO.digits),
        Column("high", "High", number=True, digits=RATIO.digits),
        Column("verdict", "Against the range"),
    )
    rows = tuple(_load_row(facts, season, load) for season, load in _newest(facts.trend.loads))
    note = (
        "A yield goes with the prunings of the winter that follows it; other pairs are no crop load. Of sampled vines, "
        "both sides are of a mean vine."
    )
    return Table("crop_loads", "Crop load by harvest", columns, rows, note=note)


def _load_row(facts: Facts, season: int, load: BlockLoad) -> tuple[Cell, ...]:
    mass = facts.reading.units.block_yield
    return (
        season, season + 1, _BASES[load.basis], load.vines, mass.of(load.yield_kg), mass.of(load.pruning_kg),
        RATIO.of(load.quotient.value), RATIO.of(load.low), RATIO.of(load.high), facts.verdict_of(load) or "",
    )  # fmt: skip


def _winters_table(facts: Facts) -> Table:
    weight = facts.reading.units.vine_weight
    columns = (
        Column("season", "Season", number=True),
        Column("n", "Vines weighed", number=True),
        *(Column(code, title, weight.unit, number=True, digits=weight.digits)
          for code, title in (("mean", "Mean"), ("standard_deviation", "Standard deviation"),
                              ("low", "Low"), ("high", "High"))),
    )  # fmt: skip
    rows = tuple(
        (season, each.n, *(weight.of(kg) for kg in (each.mean, each.standard_deviation, each.low, each.high)))
        for season, each in _newest(facts.trend.winters)
    )
    note = (
        "Weighed in the winter before the harvest of the season. Low and high are the ends of the "
        f"{CONFIDENCE:g} % interval of the mean."
    )
    return Table("winters", "Mean pruning weight of a vine by season", columns, rows, note=note)


def _charts(facts: Facts) -> Iterator[Chart]:
    weight, assigned = facts.reading.units.vine_weight, facts.crop_range
    if facts.trend.loads:
        points = [_load_point(facts, season, load) for season, load in _newest(facts.trend.loads)]
        yield over_seasons(
            "crop_loads", "Crop load by harvest", points,
            of=Quantity("Yield over prunings", digits=RATIO.digits, counted="vines weighed after it"),
            interval=_INTERVAL, assigned=_band(facts) if assigned else None,
        )  # fmt: skip
    if facts.trend.winters:
        of = Quantity("Mean pruning weight of a vine", weight.unit, weight.digits)
        winters = [
            SeasonPoint(season, weight.of(each.mean), each.n, weight.of(each.low), weight.of(each.high))
            for season, each in _newest(facts.trend.winters)
        ]
        yield over_seasons("vine_size", "Mean pruning weight by season", winters, of=of)


def _load_point(facts: Facts, season: int, load: BlockLoad) -> SeasonPoint:
    winter: Winter | None = facts.trend.winters.get(season + 1)
    n = load.vines if load.basis == PAIRED_VINES else winter.n if winter else None
    return SeasonPoint(season, load.quotient.value, n, load.low, load.high)


def _band(facts: Facts) -> Assigned | None:
    if facts.crop_range is None:
        return None
    shown = facts.crop_range.shown()
    return Assigned(shown["low"], shown["high"], facts.crop_range.range.source, RATIO.digits)


def _sentences(facts: Facts) -> Iterator[str]:
    told = facts.trend
    if facts.crop_range is None:
        yield NO_RANGE
    else:
        yield f"Range: {range_said(facts.crop_range)}, named by the {facts.crop_range.level}."
    judged = facts.judged
    if judged is not None and judged.season != facts.season:
        yield (
            f"The crop load of the harvest of {facts.season} takes the prunings of the winter after it; until they are "
            f"weighed, that of {judged.season} is the newest."
        )
    yield f"Vine size: {told.trend.reason}"
    if told.trend.judgement != NOT_ENOUGH_YEARS and told.advice.judged_seasons:
        yield f"{counted(told.advice.judged_seasons, 'harvest')} between these winters have a verdict."
    yield f"For next winter's formula: {told.advice.sentence}"
    yield ADVICE_ONLY
    if any(winter.n > told.in_all for winter in told.winters.values()) and len(told.winters) > 1:
        yield OTHER_VINES.format(in_all=told.in_all)


def _newest(told: Mapping[int, _Of]) -> list[tuple[int, _Of]]:
    return sorted(told.items())[-SEASONS_SHOWN:]
