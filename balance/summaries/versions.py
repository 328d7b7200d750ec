"""By what a reader sees that the summaries of a season changed since: a number that grows with every change."""

from __future__ import annotations

import uuid

from django.db.models import Sum

from balance.summaries.models import BlockSeason

#: By season, written as JSON would write it.
Versions = dict[str, int]


def versions_of(farm_id: uuid.UUID) -> Versions:
    """Give for each season of an open farm the sum of the versions of its rows: each change of a row counts one on."""
    rows = BlockSeason.objects.for_farm(farm_id).order_by().values_list("season").annotate(summed=Sum("version"))
    return {str(season): int(versions) for season, versions in rows}
