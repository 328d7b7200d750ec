"""How the weights of one block or of many are spread: bins that add up, and quantiles as exact as can be told."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from balance.formulas.summaries.binned_quantiles import added, quantiles_of_bins
from balance.formulas.summaries.pooling import Group, pooled
from balance.reports.quantities import Measure
from balance.summaries.lines import Read
from balance.summaries.rows import BIN_KG, BINS, QUANTILES, Row

NOBODY_WEIGHED: Final = "No vine was weighed in this winter."
ONE_WEIGHED: Final = "One vine was weighed; a standard deviation needs two."
EXACT: Final = "Exact: the quantiles of the weights themselves."
FROM_BINS: Final = (
    "From the added bins, because quantiles of several blocks do not follow from theirs: each lies between its low and "
    "high for certain, and value is by a straight line through the bin."
)


def weighed_in(rows: Sequence[Row]) -> list[Row]:
    """Give the rows of blocks in which any vine was weighed."""
    return [row for row in rows if row.weighed and row.weight_mean is not None]


def weights_of(rows: Sequence[Row], weight: Measure) -> dict[str, Any]:
    """Give number, mean, deviation, ends and quantiles of the weights of these blocks together."""
    weighed = weighed_in(rows)
    told = pooled(Group(row.weighed, row.weight_mean, row.weight_deviation) for row in weighed)
    mean, spread = told.mean, told.deviation
    return {
        "unit": weight.unit,
        "n": told.n,
        "mean": weight.of(mean),
        "standard_deviation": weight.of(spread),
        "coefficient_of_variation": round(100 * spread / mean, 6) if mean and spread is not None else None,
        "least": weight.of(min((row.weight_least for row in weighed if row.weight_least is not None), default=None)),
        "most": weight.of(max((row.weight_most for row in weighed if row.weight_most is not None), default=None)),
        "quantiles": quantiles_of(weighed, weight),
        "quantiles_are_exact": len(weighed) == 1,
        "quantiles_say": EXACT if len(weighed) == 1 else FROM_BINS if weighed else "",
        "reason": NOBODY_WEIGHED if told.n == 0 else ONE_WEIGHED if told.n == 1 else None,
    }


def quantiles_of(weighed: Sequence[Row], weight: Measure) -> list[dict[str, Any]]:
    """Give the quantiles: those of the weights themselves for one block, else by the added bins, with their limits."""
    if len(weighed) == 1:
        exact = zip(QUANTILES, weighed[0].weight_quantiles or [], strict=False)
        return [
            {"share": share, "value": weight.of(value), "low": weight.of(value), "high": weight.of(value)}
            for share, value in exact
        ]
    least = min((row.weight_least for row in weighed if row.weight_least is not None), default=None)
    most = max((row.weight_most for row in weighed if row.weight_most is not None), default=None)
    told = quantiles_of_bins(bins_of(weighed), BIN_KG, QUANTILES, least=least, most=most)
    return [
        {"share": each.share, "value": weight.of(each.value), "low": weight.of(each.low), "high": weight.of(each.high)}
        for each in told
    ]


def bins_of(weighed: Sequence[Row]) -> list[int]:
    """Add up the bins of these blocks."""
    return added((row.weight_bins for row in weighed if row.weight_bins is not None), BINS)


def distribution_of(read: Read, weight: Measure) -> dict[str, Any]:
    """Give the weights of a season in bins, up to the last one that holds any."""
    weighed = weighed_in(read.rows)
    counts = bins_of(weighed)
    used = max((number for number, count in enumerate(counts) if count), default=-1) + 1
    return {
        "blocks": len(read.lines),
        "blocks_weighed": len(weighed),
        "weights": weights_of(read.rows, weight),
        "bin_width": weight.of(BIN_KG),
        "bins": [
            {
                "from": weight.of(number * BIN_KG),
                "to": None if number == BINS - 1 else weight.of((number + 1) * BIN_KG),
                "n": count,
            }
            for number, count in enumerate(counts[:used])
        ],
    }
