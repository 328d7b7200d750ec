"""Addresses of reports and of what is announced about them."""

from __future__ import annotations

from typing import Final

from django.urls import path

from balance.api.reports import (
    charts,
    deliveries,
    documents,
    links,
    program_schedules,
    programs,
    reports,
    schedules,
    webhooks,
)
from balance.reports import kinds as _kinds  # noqa: F401 - what may be asked for and cancelled here

ADDRESSES: Final = [
    path("programs/<uuid:program>/reports", programs.ProgramReports.as_view(), name="program-reports"),
    path(
        "programs/<uuid:program>/reports/<uuid:program_report>",
        programs.OneProgramReport.as_view(),
        name="program-report",
    ),
    path(
        "programs/<uuid:program>/reports/<uuid:program_report>/files/<slug:form>",
        programs.ProgramReportFileView.as_view(),
        name="program-report-file",
    ),
    path(
        "programs/<uuid:program>/reports/<uuid:program_report>/cancellation",
        programs.ProgramReportCancellation.as_view(),
        name="program-report-cancellation",
    ),
    path(
        "programs/<uuid:program>/reports/<uuid:program_report>/retry",
        programs.ProgramReportRetry.as_view(),
        name="program-report-retry",
    ),
    path(
        "programs/<uuid:program>/report-schedule",
        program_schedules.ProgramReportScheduleView.as_view(),
        name="program-report-schedule",
    ),
    path("farms/<uuid:farm>/reports", reports.Reports.as_view(), name="reports"),
    path("farms/<uuid:farm>/reports/<uuid:report>", reports.OneReport.as_view(), name="report"),
    path(
        "farms/<uuid:farm>/reports/<uuid:report>/files/<slug:form>",
        reports.ReportFileView.as_view(),
        name="report-file",
    ),
    path(
        "farms/<uuid:farm>/reports/<uuid:report>/document",
        documents.ReportDocument.as_view(),
        name="report-document",
    ),
    path(
        "farms/<uuid:farm>/reports/<uuid:report>/charts/<uuid:block>/<slug:chart>",
        charts.ReportChart.as_view(),
        name="report-chart",
    ),
    path("farms/<uuid:farm>/formulas/<str:formula>/reports", reports.ToldReports.as_view(), name="told-reports"),
    path("farms/<uuid:farm>/report-schedules", schedules.Schedules.as_view(), name="report-schedules"),
    path("farms/<uuid:farm>/report-schedules/<uuid:schedule>", schedules.OneSchedule.as_view(), name="report-schedule"),
    path("farms/<uuid:farm>/reports/<uuid:report>/links", links.ReportLinks.as_view(), name="report-links"),
    path("report-links/<str:token>", links.ReportLink.as_view(), name="report-link"),
    path("farms/<uuid:farm>/webhook-endpoints", webhooks.WebhookEndpoints.as_view(), name="webhook-endpoints"),
    path(
        "farms/<uuid:farm>/webhook-endpoints/<uuid:endpoint>",
        webhooks.OneWebhookEndpoint.as_view(),
        name="webhook-endpoint",
    ),
    path(
        "farms/<uuid:farm>/webhook-endpoints/<uuid:endpoint>/test",
        deliveries.WebhookTest.as_view(),
        name="webhook-test",
    ),
    path(
        "farms/<uuid:farm>/webhook-endpoints/<uuid:endpoint>/deliveries",
        deliveries.WebhookDeliveries.as_view(),
        name="webhook-deliveries",
    ),
    path(
        "farms/<uuid:farm>/webhook-endpoints/<uuid:endpoint>/deliveries/<uuid:delivery>/redelivery",
        deliveries.WebhookRedelivery.as_view(),
        name="webhook-redelivery",
    ),
]
