"""Which season answers when nobody says one: the newest of which something stands on record."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet


def newest_season_of(records: QuerySet[Any]) -> int | None:
    """Give the newest season among these records; None where there is none."""
    season: int | None = records.order_by("-season").values_list("season", flat=True).first()
    return season
