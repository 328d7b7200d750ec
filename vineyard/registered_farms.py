"""Every farm of the register, for commands that whoever runs the machine starts; names and programs, no records."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from typing import Final

from django.core.management import CommandError
from django.db import transaction
from django.db.models import Q, QuerySet

from records.context import set_context
from records.models import RegisteredFarm

AT_ONCE: Final = 200


def registered_farms(only: uuid.UUID | None = None) -> Iterator[RegisteredFarm]:
    """Go through the farms by name, page by page, each page read in a transaction of its own; or give one of them.

    Raises
    ------
    CommandError
        There is no farm with this id.
    """
    farms = RegisteredFarm.objects.order_by("name", "id")
    if only is not None:
        farms = farms.filter(pk=only)
    after, none = Q(), True
    while page := _page(farms.filter(after)):
        none = False
        yield from page
        last = page[-1]
        after = Q(name__gt=last.name) | Q(name=last.name, pk__gt=last.pk)
    if only is not None and none:
        raise CommandError(f"There is no farm {only}. list_farms lists them.")


def _page(farms: QuerySet[RegisteredFarm]) -> list[RegisteredFarm]:
    with transaction.atomic():
        set_context(register="on", person=None, farms=None)
        return list(farms[:AT_ONCE])
