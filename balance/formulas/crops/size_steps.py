"""The steps from the means of the winters and the crops between them to the judgement on vine size."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from balance.formulas.crops.size_advice import CropBetween, beside
from balance.formulas.crops.size_trend import SizeTrend, percent
from balance.formulas.methods import Working
from balance.formulas.ranges import WITHIN
from balance.formulas.targets.explanation import plain


def steps_of_trend(trend: SizeTrend, sizes: Mapping[int, float], crops: Iterable[CropBetween]) -> list[Working]:
    """Give the steps from the winters' means and the crops between them to the judgement.

    Parameters
    ----------
    trend : SizeTrend
    sizes : mapping
        Season → mean pruning weight [kg].
    crops : iterable of CropBetween

    Examples
    --------
    >>> from balance.formulas.crops.size_trend import size_trend
    >>> sizes = {2025: 1.0, 2026: 1.1, 2027: 1.21}
    >>> crops = [CropBetween(2025, 8.0, "below", 1.0, 1.1)]
    >>> for step in steps_of_trend(size_trend(list(sizes), list(sizes.values())), sizes, crops):
    ...     print(step.label, step.calculation, sep=": ")
    winters: 2025: 1 kg; 2026: 1.1 kg; 2027: 1.21 kg
    change a year: e^(0.0953) − 1 = +10 %
    interval: +10 % to +10 %
    check against one odd winter: +10 %
    crop of 2025: 8 : 1; 1 kg → 1.1 kg = +10 %
    judgement: gaining
    """
    means = "; ".join(f"{season}: {plain(sizes[season])} kg" for season in trend.seasons)
    steps = [Working("winters", "The mean prunings of a vine in each winter.", means or "none", None, "kg")]
    if trend.change is not None and trend.low is not None and trend.high is not None:
        steps += _steps_of_line(trend, trend.change, trend.low, trend.high)
    steps += [_step_of_crop(crop) for crop in beside(trend, crops)]
    steps.append(Working("judgement", trend.reason, trend.judgement.replace("_", " "), None, "1"))
    return steps


def _steps_of_line(trend: SizeTrend, change: float, low: float, high: float) -> list[Working]:
    robust = trend.robust_change or 0.0
    agrees = "says the same" if robust * change >= 0 else "says otherwise: one winter may be odd"
    winters = len(trend.seasons)
    return [
        Working(
            "change a year",
            f"The line through the logarithms of {winters} winters changes by {percent(change)} a year.",
            f"e^({plain(math.log1p(change))}) − 1 = {percent(change)}",
            round(100 * change, 4),
            "%",
        ),
        Working(
            "interval",
            f"With {plain(100 * trend.confidence)} % confidence (Student's t on {winters - 2} degrees of freedom).",
            f"{percent(low)} to {percent(high)}",
            None,
            "%",
        ),
        Working(
            "check against one odd winter",
            f"The median of the slopes between any two winters {agrees}.",
            percent(robust),
            round(100 * robust, 4),
            "%",
        ),
    ]


def _step_of_crop(crop: CropBetween) -> Working:
    """Say how heavy the crop of one season was, and how the vine stood after it."""
    load = "There is no crop load" if crop.crop_load is None else f"The crop load was {plain(crop.crop_load, 1)}"
    verdict = {None: "no verdict", WITHIN: "within its range"}.get(crop.verdict, f"{crop.verdict} its range")
    sums = [] if crop.crop_load is None else [f"{plain(crop.crop_load, 1)} : 1"]
    after = "."
    if crop.size_before and crop.size_after is not None:
        moved = percent(crop.size_after / crop.size_before - 1)
        sums.append(f"{plain(crop.size_before)} kg → {plain(crop.size_after)} kg = {moved}")
        after = f"; from the winter before to the winter after the size moved by {moved}."
    sentence = f"{load} ({verdict}){after}"
    return Working(f"crop of {crop.season}", sentence, "; ".join(sums) or "not known", crop.crop_load, "1")
