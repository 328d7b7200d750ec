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
from balance.summaries.lines import BLOCK, FARM, PORTFOLIO

_VIEWS: Final = {
    "season-summary": season_summaries.VIEWS,
    "season-trend": season_trends.VIEWS,
    "weight-distribution": weight_distributions.VIEWS,
    "block-comparison": block_comparisons.VIEWS,
    "attention": attention_lists.VIEWS,
    "completeness": completenesses.VIEWS,
}
_AT: Final = {FARM: "farms/<uuid:farm>", BLOCK: "farms/<uuid:farm>/blocks/<uuid:block>", PORTFOLIO: "portfolio"}
ADDRESSES: Final = [
    path(f"{_AT[kind]}/{tail}", view.as_view(), name=f"{kind}-{tail}")
    for tail, views in _VIEWS.items()
    for kind, view in views.items()
]
