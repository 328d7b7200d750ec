"""The register of farms, unfinished jobs and erasures: ids, names and states, and nothing of any farm's records."""

from __future__ import annotations

from typing import Any

from django.contrib import admin
from django.db.models import Case, CharField, F, QuerySet, Value, When
from django.db.models.functions import Now
from django.http import HttpRequest

from records.models import Erasure, JobTicket, RegisteredFarm
from vineyard.staff.site import StaffAdmin, site


class RegisteredFarmAdmin(StaffAdmin):
    """Farms by name and program, from the database's register; which farms a program has, their owners decide."""

    list_display = ("name", "program", "id")
    list_select_related = ("program",)
    search_fields = ("name", "program__name")
    ordering = ("name", "id")


class JobTicketAdmin(StaffAdmin):
    """Unfinished jobs, as far as anybody outside the farm may know of them: whose, and whether a worker holds it."""

    list_display = ("job_id", "farm_id", "state", "leased_until")
    ordering = ("leased_until", "id")

    def get_queryset(self, request: HttpRequest) -> QuerySet[Any]:
        state = Case(
            When(leased_until__gt=Now(), then=Value("held by a worker, or due then")),
            default=Value("waits for a worker"),
            output_field=CharField(),
        )
        tickets: QuerySet[Any] = super().get_queryset(request).annotate(ticket_state=state)
        return tickets

    @admin.display(ordering="ticket_state")
    def state(self, ticket: Any) -> str:
        return str(ticket.ticket_state)


class ErasureAdmin(StaffAdmin):
    """Farms that were erased."""

    list_display = ("erased_farm_id", "erased_at", "asked_by_id")
    ordering = (F("erased_at").desc(), "id")


site.register(RegisteredFarm, RegisteredFarmAdmin)
site.register(JobTicket, JobTicketAdmin)
site.register(Erasure, ErasureAdmin)
