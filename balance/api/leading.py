"""Views for the leads of a program: for everybody else there is no such thing."""

from __future__ import annotations

from typing import Any

from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from balance.program_work.models import UNFINISHED, ProgramWork
from records.access import open_led_program
from records.api.views import CallerView
from records.models import Program


class LeadsView(CallerView):
    """A view for the leads of the program that the address names; for everybody else there is nothing there."""

    program: Program

    def open(self, request: Request, **kwargs: Any) -> None:  # noqa: ARG002
        self.program = open_led_program(self.caller, kwargs["program"])


def answer_of_work(view: LeadsView, work: ProgramWork) -> Response:
    """Answer 202 while a worker has something left to do, else 200."""
    unfinished = work.state in UNFINISHED
    code = status.HTTP_202_ACCEPTED if unfinished else status.HTTP_200_OK
    headers = {"Retry-After": "2"} if unfinished else {}
    return Response(view.get_serializer(work).data, status=code, headers=headers)
