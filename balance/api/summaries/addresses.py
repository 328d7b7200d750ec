"""Addresses of summaries: of a farm, of a block, and of all farms that the caller may read."""

from __future__ import annotations

from typing import Final

from django.urls import path

from balance.api.summaries import (
    attention_lists,
    block_comparisons,
    completenesses,
    season_summaries,
    season_trends,
    weight_distributions,
)

_OF_A_FARM: Final = [
    ("season-summary", season_summaries.FarmSeasonSummary),
    ("season-trend", season_trends.FarmSeasonTrend),
    ("weight-distribution", weight_distributions.FarmWeightDistribution),
    ("block-comparison", block_comparisons.FarmBlockComparison),
    ("attention", attention_lists.FarmAttention),
    ("completeness", completenesses.FarmCompleteness),
]
_OF_A_BLOCK: Final = [
    ("season-summary", season_summaries.BlockSeasonSummary),
    ("season-trend", season_trends.BlockSeasonTrend),
    ("weight-distribution", weight_distributions.BlockWeightDistribution),
    ("attention", attention_lists.BlockAttention),
    ("completeness", completenesses.BlockCompleteness),
]
_OF_A_PORTFOLIO: Final = [
    ("season-summary", season_summaries.PortfolioSeasonSummary),
    ("season-trend", season_trends.PortfolioSeasonTrend),
    ("weight-distribution", weight_distributions.PortfolioWeightDistribution),
    ("block-comparison", block_comparisons.PortfolioBlockComparison),
    ("attention", attention_lists.PortfolioAttention),
    ("completeness", completenesses.PortfolioCompleteness),
]
ADDRESSES: Final = [
    *(path(f"farms/<uuid:farm>/{tail}", view.as_view(), name=f"farm-{tail}") for tail, view in _OF_A_FARM),
    *(
        path(f"farms/<uuid:farm>/blocks/<uuid:block>/{tail}", view.as_view(), name=f"block-{tail}")
        for tail, view in _OF_A_BLOCK
    ),
    *(path(f"portfolio/{tail}", view.as_view(), name=f"portfolio-{tail}") for tail, view in _OF_A_PORTFOLIO),
]
