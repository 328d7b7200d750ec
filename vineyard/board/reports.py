"""Season reports of a farm: listed, asked for, followed until they are made, and fetched in every form."""

from __future__ import annotations

import uuid
from typing import Final

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect

from vineyard.board.calls import Refused
from vineyard.board.keeping import PATH
from vineyard.board.pages import BoardPage, handed_on, page, unkept
from vineyard.board.portfolio import next_query

#: The form that the board shows, under the policy that came with it; every other one is saved.
PAGE: Final = "html"
#: What the forms of a report are called on the page.
FORMS: Final = {
    "pdf": "PDF",
    PAGE: "Page",
    "xlsx": "Workbook",
    "csv": "CSV",
    "json": "JSON",
}
UNFINISHED: Final = ("queued", "running")
LINES: Final = 25


class FarmsWithReports(BoardPage):
    """The farms, to choose one whose reports are wanted."""

    place = "reports"

    def get(self, request: HttpRequest) -> HttpResponse:  # noqa: ARG002
        return self.page("farms_with_reports", me=self.api.get("/me"))


class Reports(BoardPage):
    """The reports of a farm, and the form by which one is asked for."""

    http_method_names = ["get", "head", "post"]

    def get(self, request: HttpRequest, farm: uuid.UUID) -> HttpResponse:
        return self._page(request, farm)

    def post(self, request: HttpRequest, farm: uuid.UUID) -> HttpResponse:
        season = request.POST.get("season", "").strip()
        wanted = {"season": int(season) if _is_a_year(season) else season, "units": request.POST.get("units", "")}
        try:
            told = self.api.send("POST", f"/farms/{farm}/reports", wanted)
        except Refused as refused:
            if refused.status not in (400, 422):
                raise
            return self._page(request, farm, refused)
        return unkept(HttpResponseRedirect(f"{PATH}/farms/{farm}/reports/{told['id']}"))

    def _page(self, request: HttpRequest, farm: uuid.UUID, refused: Refused | None = None) -> HttpResponse:
        told = self.api.get(f"/farms/{farm}/reports", limit=LINES, cursor=self.asked("cursor").get("cursor"))
        summary = self.api.part(f"/farms/{farm}/season-summary")
        context = {
            "farm": self.api.get(f"/farms/{farm}"),
            "reports": told["results"],
            "more": next_query(request, "cursor", told),
            "season": (summary.told or {}).get("season"),
            "typed": request.POST.get("season", ""),
            "refused": refused,
            "forms": FORMS,
        }
        return page(request, "reports", context, status=refused.status if refused else 200)


def _is_a_year(typed: str) -> bool:
    return typed.isascii() and typed.isdecimal() and len(typed) < 6


class Report(BoardPage):
    """One report; the page asks for itself again until the report is made."""

    def get(self, request: HttpRequest, farm: uuid.UUID, report: uuid.UUID) -> HttpResponse:  # noqa: ARG002
        told = self.api.get(f"/farms/{farm}/reports/{report}")
        job = self.api.part(f"/farms/{farm}/jobs/{told['job']}")
        return self.page(
            "report",
            farm=self.api.get(f"/farms/{farm}"),
            report=told,
            job=job,
            waits=told["state"] in UNFINISHED,
            forms=[(form, FORMS.get(form, form)) for form in told["files"]],
        )


class ReportFile(BoardPage):
    """One form of a report."""

    def get(self, request: HttpRequest, farm: uuid.UUID, report: uuid.UUID, form: str) -> HttpResponse:  # noqa: ARG002
        answer = self.api.fetch(f"/farms/{farm}/reports/{report}/files/{form}")
        return handed_on(answer, shown=form == PAGE)
