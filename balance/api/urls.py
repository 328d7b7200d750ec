"""Addresses of what the records mean, under /api/v1/."""

from django.urls import path

from balance.api import blocks, dormant, stateless, statistics

urlpatterns = [
    path("balance/targets", stateless.StatelessTarget.as_view(), name="stateless-target"),
    *dormant.ADDRESSES,
    path("farms/<uuid:farm>/blocks/<uuid:block>/statistics", statistics.Statistics.as_view(), name="block-statistics"),
    path("farms/<uuid:farm>/blocks/<uuid:block>/targets", blocks.Targets.as_view(), name="block-targets"),
]
