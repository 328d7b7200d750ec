"""Days by the farm's own calendar."""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.utils import timezone

from records.models import Farm


def day_on(farm: Farm, moment: datetime) -> date:
    """Give the day that it is on the farm at a moment."""
    return moment.astimezone(ZoneInfo(farm.time_zone)).date()


def today_on(farm: Farm) -> date:
    """Give the day that it is on the farm now."""
    return day_on(farm, timezone.now())
