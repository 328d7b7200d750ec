"""Which farms let a program count them: held to the end, noted in their access logs, and looked at again later."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence

from django.db import transaction

from balance.models import ProgramReport
from records.access import Caller, Part, consents_for, consents_to_count, enter, open_for_work
from records.context import set_context
from records.errors import NotFound
from records.models import Consent, Purpose, Visit
from records.services.visits import note_visits


def consents_held(report: ProgramReport, farms: Sequence[uuid.UUID]) -> dict[uuid.UUID, Consent]:
    """Give the consent of each of these farms that still has one, held until the transaction ends."""
    if not farms or report.asked_by is None:
        return {}
    caller = Caller(report.asked_by, request_id=report.request_id)
    enter(caller)
    set_context(farms=list(farms))
    held = (
        consents_to_count(caller, report.program_id).filter(farm__in=farms).select_for_update(no_key=True, of=("self",))
    )
    return {consent.farm_id: consent for consent in held.order_by("farm_id", "id")}


def note_that_counted(report: ProgramReport, consents: Iterable[Consent]) -> None:
    """Let every farm that was counted read so in its access log; the farms are open."""
    if report.asked_by is None:
        return
    caller = Caller(report.asked_by, request_id=report.request_id)
    parts = [(consent.farm, Part("counted", frozenset(), consent)) for consent in consents]
    note_visits(caller, parts, "POST", _path(report))


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
    return bool(Visit.objects.for_farm(farm).filter(path=_path(report)).exists())


def _path(report: ProgramReport) -> str:
    return f"/api/v1/programs/{report.program_id}/reports/{report.pk}"
