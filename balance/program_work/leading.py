"""In whose name work for a program is done: the lead who asked for it, as long as they lead the program."""

from __future__ import annotations

from django.db import transaction

from balance.program_work.leases import Held
from balance.program_work.models import ProgramWork
from records.access import hold_lead
from records.errors import NotAllowed
from records.models import Person


def asker_of(work: ProgramWork) -> Person:
    """Give whoever asked for it.

    Raises
    ------
    NotAllowed
        They are gone.
    """
    if work.asked_by is None:
        raise NotAllowed(work.without_lead)
    return work.asked_by


def still_led(work: ProgramWork) -> None:
    """Refuse to go on once whoever asked does not lead the program; if they do, until the transaction ends.

    Raises
    ------
    NotAllowed
    """
    if not hold_lead(work.program_id, asker_of(work)):
        raise NotAllowed(work.without_lead)


def go_on(held: Held, work: ProgramWork, done: int, total: int) -> None:
    """Hold the work for longer and say how far it is, if whoever asked still leads the program."""
    with transaction.atomic():
        held.renew(progress_done=done, progress_total=total)
        still_led(work)
    held.watch(done, total)
