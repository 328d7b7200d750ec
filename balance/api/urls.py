"""Addresses of what the records mean, under /api/v1/."""

from django.urls import path

from balance.api import blocks, dormant, stateless, statistics

urlpatterns = [
    path("balance/targets", stateless.StatelessTarget.as_view(), name="stateless-target"),
    path("farms/<uuid:farm>/dormant-records", dormant.DormantRecords.as_view(), name="dormant-records"),
    path(
        "farms/<uuid:farm>/dormant-records/<uuid:record>",
        dormant.OneDormantRecord.as_view(),
        name="dormant-record",
    ),
    path(
        "farms/<uuid:farm>/dormant-records/<uuid:record>/versions",
        dormant.Versions.as_view(),
        name="dormant-record-versions",
    ),
    path("farms/<uuid:farm>/blocks/<uuid:block>/statistics", statistics.Statistics.as_view(), name="block-statistics"),
    path("farms/<uuid:farm>/blocks/<uuid:block>/targets", blocks.Targets.as_view(), name="block-targets"),
]
