"""Charts of summaries: built from the very answer that they draw, as the report's charts are."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from balance.formulas.counting import counted
from balance.reports.charts import Assigned, Quantity, SeasonPoint, histogram_of_bins, over_seasons
from balance.reports.document import Chart
from balance.reports.quantities import Measure, Units
from balance.summaries.glance import NOBODY_SAID, NOTHING_TO_JUDGE

MEAN_WEIGHT: Final = "mean_weight"
MEAN_DIFFERENCE: Final = "mean_difference"
CROP_LOAD: Final = "crop_load"
BLANK_SHARE: Final = "blank_share"
#: What a chart of the trend may show; a crop load is a block's own.
FIGURES: Final = (MEAN_WEIGHT, MEAN_DIFFERENCE, CROP_LOAD, BLANK_SHARE)
OF_ONE_BLOCK: Final = "A crop load belongs to one block: ask for the trend of the block."
_OF_A_MEAN: Final = "95 % interval of the mean"
_OF_A_LOAD: Final = "95 % interval, as far as the mean prunings are uncertain"

Season = Mapping[str, Any]


def distribution_chart(told: Season, weight: Measure) -> Chart:
    """Draw the weights of a season in their bins."""
    bins = told["bins"]
    of = Quantity("Pruning weight of a vine", weight.unit, weight.digits)
    weights = told["weights"]
    mean = weights["mean"]
    blocks = f"{told['blocks_weighed']} of {counted(told['blocks'], 'block')}"
    said = [] if mean is None else [f"Mean {of.said(mean)}, from {blocks}."]
    return histogram_of_bins(
        "weight_distribution",
        "Pruning weights of single vines" + (f", season {told['season']}" if told["season"] else ""),
        [each["n"] for each in bins],
        told["bin_width"],
        of=of,
        open_end=bool(bins) and bins[-1]["to"] is None,
        said=said,
    )


def trend_chart(seasons: Sequence[Season], figure: str, units: Units) -> Chart:
    """Draw one figure over the seasons."""
    title, of, point = _DRAWN[figure]
    quantity = of(units)
    points = [point(season) for season in seasons]
    interval = _OF_A_LOAD if figure == CROP_LOAD else _OF_A_MEAN
    return over_seasons(figure, title, points, of=quantity, interval=interval, assigned=_range(seasons, figure))


def _range(seasons: Sequence[Season], figure: str) -> Assigned | None:
    """Give the range of the crop load, which is the block's today for all seasons."""
    if figure != CROP_LOAD or not seasons:
        return None
    told = (seasons[-1]["crop_load"] or {}).get("range")
    return Assigned(told["low"], told["high"], told["source"], digits=1) if told else None


def _weight(season: Season) -> SeasonPoint:
    told = season["weights"]
    return SeasonPoint(
        season["season"], told["mean"], told["n"], told["low"], told["high"], (told["reason"] or "").rstrip(".")
    )


def _difference(season: Season) -> SeasonPoint:
    return SeasonPoint(
        season["season"], season["mean_difference"], season["judged"], reason=NOTHING_TO_JUDGE.rstrip(".")
    )


def _load(season: Season) -> SeasonPoint:
    told = season["crop_load"] or {"value": None, "low": None, "high": None, "reason": OF_ONE_BLOCK}
    reason = (told["reason"] or "").rstrip(".")
    return SeasonPoint(season["season"], told["value"], None, told["low"], told["high"], reason)


def _blank(season: Season) -> SeasonPoint:
    return SeasonPoint(season["season"], season["blank_share"], season["cordons"], reason=NOBODY_SAID.rstrip("."))


_DRAWN: Final[dict[str, tuple[str, Callable[[Units], Quantity], Callable[[Season], SeasonPoint]]]] = {
    MEAN_WEIGHT: (
        "Mean pruning weight over the seasons",
        lambda units: Quantity("Mean pruning weight of a vine", units.vine_weight.unit, units.vine_weight.digits),
        _weight,
    ),
    MEAN_DIFFERENCE: (
        "Counts less targets over the seasons",
        lambda _: Quantity("Mean of count less target", "count nodes", 1),
        _difference,
    ),
    CROP_LOAD: ("Crop load over the seasons", lambda _: Quantity("Yield : pruning weight", "", 1, "blocks"), _load),
    BLANK_SHARE: (
        "Blank cordon over the seasons",
        lambda _: Quantity("Blank share of spur positions", "%", 1, "cordons"),
        _blank,
    ),
}
