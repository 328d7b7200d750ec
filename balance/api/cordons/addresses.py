"""Addresses of everything about cordons and their replacement."""

from __future__ import annotations

from typing import Final

from django.urls import path

from balance.api.cordons import (
    blank_cordon,
    capacities,
    cases,
    durations,
    outlooks,
    proposals,
    settings,
    successes,
    survival,
    timelines,
    worklists,
)

ADDRESSES: Final = [
    path("farms/<uuid:farm>/cordon-settings", settings.AllSettings.as_view(), name="all-cordon-settings"),
    path("farms/<uuid:farm>/cordon-settings/<uuid:settings>", settings.OneSettings.as_view(), name="cordon-settings"),
    path("farms/<uuid:farm>/cordon-worklist", worklists.CordonWorklist.as_view(), name="cordon-worklist"),
    path("farms/<uuid:farm>/cordon-proposals", proposals.CordonProposals.as_view(), name="cordon-proposals"),
    path("farms/<uuid:farm>/blank-cordon", blank_cordon.BlankCordonView.as_view(), name="blank-cordon"),
    path("farms/<uuid:farm>/cordon-cases", cases.CordonCases.as_view(), name="cordon-cases"),
    path("farms/<uuid:farm>/cordon-cases/<uuid:case>", cases.OneCordonCase.as_view(), name="cordon-case"),
    path(
        "farms/<uuid:farm>/cordon-cases/<uuid:case>/steps",
        cases.CordonCaseSteps.as_view(),
        name="cordon-case-steps",
    ),
    path("farms/<uuid:farm>/vines/<uuid:vine>/timeline", timelines.VineTimeline.as_view(), name="vine-timeline"),
    path("farms/<uuid:farm>/cordon-durations", durations.CordonDurations.as_view(), name="cordon-durations"),
    path("farms/<uuid:farm>/cordon-successes", successes.CordonSuccesses.as_view(), name="cordon-successes"),
    path("farms/<uuid:farm>/cordon-outlook", outlooks.CordonOutlook.as_view(), name="cordon-outlook"),
    path("farms/<uuid:farm>/cordon-capacity", capacities.CordonCapacity.as_view(), name="cordon-capacity"),
    path("farms/<uuid:farm>/cordon-survival", survival.CordonSurvival.as_view(), name="cordon-survival"),
]
