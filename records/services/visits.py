"""The grower's own access log: who was let in by a consent, and what they asked for."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db import transaction

from records.access import Caller, OpenFarm, Part, Right
from records.context import set_context
from records.models import Farm, Visit


def visits_of(opened: OpenFarm) -> Any:
    """Give the farm's access log."""
    opened.require(Right.MANAGE)
    own = Visit.objects.for_farm(opened.farm).filter(consent__farm=opened.farm)  # two farms may use one id
    return own.select_related("person", "consent")


def note_visits(caller: Caller, parts: Iterable[tuple[Farm, Part]], method: str, path: str) -> list[Visit]:
    """Note a request in the log of every farm that a consent let it into; the farms are open."""
    return Visit.objects.bulk_create(
        Visit(
            farm=farm,
            consent=part.consent,
            person=caller.person,
            method=method,
            path=path[:300],
            request_id=caller.request_id,
        )
        for farm, part in parts
        if part.consent is not None
    )


def keep_visits(visits: Iterable[Visit]) -> None:
    """Write visits that were undone with their refused request: a refusal may have shown something, too."""
    kept = list(visits)
    with transaction.atomic():
        set_context(farms=[visit.farm_id for visit in kept])
        Visit.objects.bulk_create(kept, ignore_conflicts=True)
