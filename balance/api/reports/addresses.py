"""Addresses of reports and of what is announced about them."""

from __future__ import annotations

from typing import Final

from django.urls import path

from balance.api.reports import reports

ADDRESSES: Final = [
    path("farms/<uuid:farm>/reports", reports.Reports.as_view(), name="reports"),
    path("farms/<uuid:farm>/reports/<uuid:report>", reports.OneReport.as_view(), name="report"),
    path(
        "farms/<uuid:farm>/reports/<uuid:report>/files/<slug:form>",
        reports.ReportFileView.as_view(),
        name="report-file",
    ),
]
