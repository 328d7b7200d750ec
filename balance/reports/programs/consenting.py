"""Which farms that a report of a program counted let it count them no more."""

from __future__ import annotations

import uuid

from django.db import transaction

from balance.models import ProgramReport
from records.access import Caller, consents_for, consents_to_count, enter, open_for_work
from records.errors import NotFound
from records.models import Purpose, Visit


def left_since(report: ProgramReport, earlier: ProgramReport) -> bool:
    """Tell whether a farm that an earlier report counted lets the program count it no more."""
    with transaction.atomic():
        if report.asked_by is None:
            return True
        caller = Caller(report.asked_by)
        enter(caller)
        ever = consents_for(caller).filter(program=report.program_id, purpose=Purpose.SUMMARIES)
        all_of_them = set(ever.values_list("farm_id", flat=True))
        ended = all_of_them - set(consents_to_count(caller, report.program_id).values_list("farm_id", flat=True))
        return any(_was_counted(farm_id, earlier) for farm_id in sorted(ended))


def _was_counted(farm_id: uuid.UUID, report: ProgramReport) -> bool:
    try:
        farm = open_for_work(farm_id)
    except NotFound:
        return False
    return bool(Visit.objects.for_farm(farm).filter(path=path_of(report)).exists())


def path_of(report: ProgramReport) -> str:
    """Give the address by which a report stands in the access logs of the farms that it counted."""
    return f"/api/v1/programs/{report.program_id}/reports/{report.pk}"
