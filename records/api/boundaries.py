"""Outlines of blocks as GeoJSON: the member of a block, and a farm's blocks as one collection of features."""

from __future__ import annotations

from typing import Any, Final

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from records.models import Block

_POSITION: Final = {
    "type": "array",
    "items": {"type": "number"},
    "minItems": 2,
    "maxItems": 3,
    "description": "Longitude, latitude [degrees, WGS 84], and the height [m] where it is known.",
}
_RING: Final = {"type": "array", "items": _POSITION, "minItems": 4}
_POLYGON: Final = {"type": "array", "items": _RING, "minItems": 1}
BOUNDARY_SCHEMA: Final = {
    "description": "A GeoJSON geometry by RFC 7946. At most 10,000 positions; it encloses 1 m2 to 10,000 ha and does "
    "not cross the antimeridian.",
    "anyOf": [
        {
            "type": "object",
            "title": name,
            "required": ["type", "coordinates"],
            "properties": {"type": {"type": "string", "const": name}, "coordinates": coordinates},
            "additionalProperties": False,
        }
        for name, coordinates in (
            ("Polygon", _POLYGON),
            ("MultiPolygon", {"type": "array", "items": _POLYGON, "minItems": 1}),
        )
    ],
}
#: An invented outline, wound by the right-hand rule.
BOUNDARY_EXAMPLE: Final = {
    "type": "Polygon",
    "coordinates": [[[-76.5, 42.5], [-76.499, 42.5], [-76.499, 42.501], [-76.5, 42.501], [-76.5, 42.5]]],
}
COMPUTED_EXAMPLE: Final = {"m2": 9130.84, "har": 0.913084}


@extend_schema_field(BOUNDARY_SCHEMA)
class BoundaryField(serializers.Field[Any, Any, Any, Any]):
    """An outline; what is wrong with it, the records say, each position by its place."""

    def to_internal_value(self, data: Any) -> Any:
        return data

    def to_representation(self, value: Any) -> Any:
        return value


class FeatureOut(serializers.Serializer[Any]):
    """A block as a GeoJSON feature."""

    type = serializers.CharField(help_text="Feature.")
    id = serializers.UUIDField(help_text="The block's.")
    geometry = BoundaryField(read_only=True, allow_null=True, help_text="The outline; null where the block has none.")
    properties = serializers.DictField(help_text="Members of the block.")


class FeatureCollectionOut(serializers.Serializer[Any]):
    """A page of a farm's blocks as a GeoJSON FeatureCollection."""

    type = serializers.CharField(help_text="FeatureCollection.")
    features = serializers.ListField(child=FeatureOut())
    next = serializers.URLField(allow_null=True, help_text="Address of the page, or null at the end.")
    previous = serializers.URLField(allow_null=True, help_text="Address of the page, or null at the start.")
    count = serializers.IntegerField(required=False, help_text="Only with count=capped.")
    count_is_exact = serializers.BooleanField(required=False, help_text="False where there are more.")


class ComputedAreaOut(serializers.Serializer[Any]):
    """The geodesic area of a block's boundary on the WGS 84 ellipsoid."""

    m2 = serializers.DecimalField(max_digits=17, decimal_places=2, help_text="Square metres.")
    har = serializers.DecimalField(max_digits=17, decimal_places=6, help_text="Hectares.")


def computed_area_of(block: Block) -> dict[str, Any] | None:
    """Give the area that follows from the boundary, or nothing where the block has none."""
    if block.computed_area_m2 is None:
        return None
    return {"m2": block.computed_area_m2, "har": block.computed_area_m2 / 10_000}


#: Members of a block that its feature carries; the outline is the feature's geometry.
PROPERTIES: Final = (
    "name", "cultivar", "cultivar_as_named", "rootstock", "year_planted", "training", "shelter", "declared_area",
    "computed_area", "version",
)  # fmt: skip


def collection(page: list[Block], told: list[dict[str, Any]], links: dict[str, Any]) -> dict[str, Any]:
    """Give a page of blocks as a FeatureCollection; ``told`` are the blocks as JSON shows them."""
    features = [
        {
            "type": "Feature",
            "id": str(block.pk),
            "geometry": block.boundary,
            "properties": {name: members[name] for name in PROPERTIES},
        }
        for block, members in zip(page, told, strict=True)
    ]
    return {"type": "FeatureCollection", "features": features, **links}


def collection_example(block: dict[str, Any]) -> dict[str, Any]:
    """Give the example of a collection of one block."""
    feature = {
        "type": "Feature",
        "id": block["id"],
        "geometry": BOUNDARY_EXAMPLE,
        "properties": {name: block[name] for name in PROPERTIES},
    }
    return {"type": "FeatureCollection", "features": [feature], "next": None, "previous": None}
