"""Which farms let a program count them: held to the end, and noted in their access logs."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence

from balance.program_work.models import ProgramWork
from records.access import Caller, Part, consents_to_count, enter
from records.context import set_context
from records.models import Consent
from records.services.visits import note_visits


def consents_held(work: ProgramWork, farms: Sequence[uuid.UUID], purpose: str) -> dict[uuid.UUID, Consent]:
    """Give the consent of each of these farms that still has one, held until the transaction ends."""
    if not farms or work.asked_by is None:
        return {}
    caller = Caller(work.asked_by, request_id=work.request_id)
    enter(caller)
    set_context(farms=list(farms))
    held = consents_to_count(caller, work.program_id, purpose).filter(farm__in=farms)
    locked = held.select_for_update(no_key=True, of=("self",)).order_by("farm_id", "id")
    return {consent.farm_id: consent for consent in locked}


def note_that_counted(work: ProgramWork, consents: Iterable[Consent], path: str) -> None:
    """Let every farm that was counted read so in its access log; the farms are open."""
    if work.asked_by is None:
        return
    caller = Caller(work.asked_by, request_id=work.request_id)
    parts = [(consent.farm, Part("counted", frozenset(), consent)) for consent in consents]
    note_visits(caller, parts, "POST", path)
