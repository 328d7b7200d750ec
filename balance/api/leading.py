"""Views for the leads of a program: for everybody else there is no such thing."""

from __future__ import annotations

from typing import Any, Final

from rest_framework.request import Request
from rest_framework.response import Response

from balance.program_work.models import UNFINISHED, ProgramWork
from records.access import open_led_program
from records.api.preconditions import accepted
from records.api.views import CallerView
from records.models import Program

#: Counting many farms takes longer than one farm's work.
SECONDS: Final = 2
#: While something is being made.
WAITING: Final = {"Retry-After": str(SECONDS)}


class LeadsView(CallerView):
    """A view for the leads of the program that the address names; for everybody else there is nothing there."""

    program: Program

    def open(self, request: Request, **kwargs: Any) -> None:  # noqa: ARG002
        self.program = open_led_program(self.caller, kwargs["program"])


def answer_of_work(view: LeadsView, work: ProgramWork, place: str) -> Response:
    """Answer 202 and where to look, at ``place``, while a worker has something left to do, else 200."""
    told = view.get_serializer(work).data
    if work.state not in UNFINISHED:
        return Response(told)
    return accepted(told, place, seconds=SECONDS)
