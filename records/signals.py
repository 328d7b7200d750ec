"""What happens here that others count or time; whoever listens is no business of ours."""

from __future__ import annotations

from typing import Final

from django.dispatch import Signal

#: Rows of one bulk request or file came to the same end: ``outcome`` (created, updated, unchanged, error), ``number``.
rows_taken_in: Final = Signal()
#: A worker takes a job up: ``request_id`` of the request that asked for it, perhaps empty.
job_taken_up: Final = Signal()
#: A job has come to its end: ``kind``, ``state``.
job_ended: Final = Signal()


def count_rows(outcome: str, number: int) -> None:
    """Tell whoever counts how many rows came to this end; nothing is told of none."""
    if number:
        rows_taken_in.send(sender=None, outcome=outcome, number=number)
