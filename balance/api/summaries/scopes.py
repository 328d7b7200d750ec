"""What a summary is about: one farm, one block, or every farm that the caller may read; and by what it is narrowed."""

from __future__ import annotations

from typing import Any, ClassVar, Final

from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.request import Request

from balance.reports.models import UnitSystem
from balance.reports.quantities import Units, units_of
from balance.summaries.filters import Filters
from balance.summaries.lines import BLOCK, FARM, PORTFOLIO, Scope
from balance.summaries.portfolio import open_portfolio
from records.api.parameters import SEASON, text_of
from records.api.strict import StrictCharField, StrictIntegerField, StrictQuery, StrictUUIDField
from records.api.views import CallerView, FarmView
from records.api.visiting import note_visits
from records.models.vineyards import Shelter, Training

AnyField = serializers.Field[Any, Any, Any, Any]

#: How each kind of scope is called in summaries and descriptions.
OF: Final = {FARM: "a farm", BLOCK: "a block", PORTFOLIO: "all my farms"}
SEASON_ASKED: Final = OpenApiParameter(
    "season", SEASON, description="Harvest year; without it, the newest of which anything is recorded."
)
UNITS: Final = OpenApiParameter(
    "units", str, enum=UnitSystem.values, description="Units of weights and lengths, as in reports; metric unless said."
)
_OF_BLOCKS: Final = [
    OpenApiParameter(
        "cultivar",
        text_of(120),
        description="Only blocks of this cultivar, by its code or by the farm's name for it.",
    ),
    OpenApiParameter("rootstock", text_of(80), description="Only blocks on this rootstock."),
    OpenApiParameter("training", str, enum=Training.values, description="Only blocks trained so."),
    OpenApiParameter("shelter", str, enum=Shelter.values, description="Only blocks in the open field, or in tunnels."),
]
_OF_FARMS: Final = [
    OpenApiParameter("region", text_of(120), description="Only farms of this region."),
    OpenApiParameter("farm", {"type": "string", "format": "uuid"}, description="Only this farm."),
]


def season_field() -> AnyField:
    """Give the field of a season in a query."""
    return StrictIntegerField(min_value=1900, max_value=2100)


def filters_of(kind: str) -> list[OpenApiParameter]:
    """Give the parameters by which summaries of this kind are narrowed."""
    return [] if kind == BLOCK else [*_OF_BLOCKS, *(_OF_FARMS if kind == PORTFOLIO else ())]


class ScopedView:
    """What views of every scope share: a query with units and filters, and the scope that they mean."""

    kind: ClassVar[str]

    def asked(self, request: Request, **fields: AnyField) -> dict[str, Any]:
        """Give the query, checked; filters that this scope does not have are refused."""
        narrowing: dict[str, AnyField] = {}
        if self.kind != BLOCK:
            narrowing |= {
                "cultivar": StrictCharField(max_length=120),
                "rootstock": StrictCharField(max_length=80),
                "training": serializers.ChoiceField(choices=Training.values),
                "shelter": serializers.ChoiceField(choices=Shelter.values),
            }
        if self.kind == PORTFOLIO:
            narrowing |= {"region": StrictCharField(max_length=120), "farm": StrictUUIDField()}
        units = serializers.ChoiceField(choices=UnitSystem.choices)
        return StrictQuery.of(request, paged=False, units=units, **narrowing, **fields)

    def scope_of(self, request: Request, query: dict[str, Any]) -> Scope:
        """Give the farms, open to this transaction, and the blocks of them that the query means."""
        raise NotImplementedError


def units_asked(query: dict[str, Any]) -> Units:
    """Give the system of units that a query asks for."""
    return units_of(query.get("units", UnitSystem.METRIC))


def _filters(query: dict[str, Any]) -> Filters:
    return Filters(
        **{name: query.get(name) for name in ("cultivar", "rootstock", "training", "shelter", "region", "farm")}
    )


class FarmScope(ScopedView, FarmView):
    """A farm of the address."""

    kind = FARM
    pagination_class = None

    def scope_of(self, request: Request, query: dict[str, Any]) -> Scope:  # noqa: ARG002
        return Scope(FARM, [self.opened.farm], _filters(query))


class BlockScope(ScopedView, FarmView):
    """A block of the address."""

    kind = BLOCK
    pagination_class = None

    def scope_of(self, request: Request, query: dict[str, Any]) -> Scope:  # noqa: ARG002
        return Scope(BLOCK, [self.opened.farm], block=self.kwargs["block"])


class PortfolioScope(ScopedView, CallerView):
    """Every farm that the caller may read now; each that a consent lets them onto notes the visit."""

    kind = PORTFOLIO
    pagination_class = None

    def scope_of(self, request: Request, query: dict[str, Any]) -> Scope:
        filters = _filters(query)
        portfolio = open_portfolio(self.caller, filters)
        note_visits(request, self.caller, portfolio.farms)
        return Scope(PORTFOLIO, [farm for farm, _ in portfolio.farms], filters)
