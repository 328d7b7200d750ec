"""Outlines of blocks: GeoJSON polygons (RFC 7946), checked, wound the right way, and their area on the ellipsoid.

Positions are longitude and latitude in degrees, WGS 84.  Whether an outline is valid (OGC Simple Features) is asked
of GEOS; the area follows from the geodesics between the positions, not from a plane.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import Any, Final, NoReturn

import shapely
from geographiclib.geodesic import Geodesic

from records.errors import NotValid

MOST_POSITIONS: Final = 10_000
FEWEST_IN_A_RING: Final = 4
#: Two positions farther apart than this in longitude are joined the other way round the globe.
_HALF_ROUND: Final = 180.0
_TO_THE: Final = Decimal("0.01")

Position = tuple[float, ...]
Ring = list[Position]
Polygon = list[Ring]
Path = tuple[str | int, ...]


@dataclass(frozen=True)
class Boundary:
    """One outline: polygons of rings, the first ring outside and the others holes, and whether it was sent as one."""

    polygons: list[Polygon]
    single: bool

    def as_geojson(self) -> dict[str, Any]:
        """Give the geometry with its rings wound as RFC 7946 §3.1.6 says: outside to the left, holes to the right."""
        wound = [
            [[list(position) for position in _wound(ring, left=number == 0)] for number, ring in enumerate(polygon)]
            for polygon in self.polygons
        ]
        if self.single:
            return {"type": "Polygon", "coordinates": wound[0]}
        return {"type": "MultiPolygon", "coordinates": wound}

    def area_m2(self) -> Decimal:
        """Give the area that the outline encloses on the WGS 84 ellipsoid.

        Returns
        -------
        Decimal
            Square metres, rounded to two decimals; holes are left out.

        References
        ----------
        C. F. F. Karney, "Algorithms for geodesics", J. Geodesy 87, 43-55 (2013), doi:10.1007/s00190-012-0578-z.
        """
        total = math.fsum(
            _ring_area(ring) * (1 if number == 0 else -1)
            for polygon in self.polygons
            for number, ring in enumerate(polygon)
        )
        return Decimal(total).quantize(_TO_THE)


def read_boundary(told: Any) -> Boundary:
    """Give the outline that a GeoJSON geometry describes.

    Raises
    ------
    NotValid
        With the place in the body of the first thing that is wrong.
    """
    polygons = _shape(told)
    boundary = Boundary([_polygon(*each) for each in polygons], told["type"] == "Polygon")
    _check_validity(boundary)
    return boundary


def _shape(told: Any) -> list[tuple[Any, Path]]:
    """Give the polygons of a geometry, each with its place, before anybody looks into them."""
    if not isinstance(told, dict):
        _refuse((), "wrong_type", "A boundary is a GeoJSON geometry: an object with type and coordinates.")
    kind = told.get("type")
    if kind not in ("Polygon", "MultiPolygon"):  # a list here, as a member may be of any type
        way_out = " Send the feature's geometry alone." if kind in ("Feature", "FeatureCollection") else ""
        shown = repr(kind)[:60]
        _refuse(("type",), "wrong_type", f"A boundary is a Polygon or a MultiPolygon, not {shown}.{way_out}")
    for member in told.keys() - {"type", "coordinates"}:
        crs = " RFC 7946 has one reference system only: longitude and latitude, WGS 84." if member == "crs" else ""
        _refuse((member,), "unknown_member", f"{member[:60]!r} is no member of a boundary; leave it out.{crs}")
    coordinates, path = told.get("coordinates"), ("coordinates",)
    if kind == "Polygon":
        return [(coordinates, path)]
    listed = _list(coordinates, path, "a list of polygons")
    _check_count(listed)
    return [(polygon, (*path, number)) for number, polygon in enumerate(listed)]


def _polygon(told: Any, path: Path) -> Polygon:
    rings = _list(told, path, "a list of rings: the outside first, then holes")
    _check_count(rings)
    return [_ring(ring, (*path, number)) for number, ring in enumerate(rings)]


def _check_count(rings: Sequence[Any]) -> None:
    """Refuse an outline of too many positions by counting alone."""
    if len(rings) > MOST_POSITIONS or sum(len(ring) for ring in rings if isinstance(ring, list)) > MOST_POSITIONS:
        _refuse(
            ("coordinates",),
            "too_many_positions",
            f"A boundary has at most {MOST_POSITIONS:,} positions. Simplify it; a position every metre is plenty.",
        )


def _ring(told: Any, path: Path) -> Ring:
    ring = [_position(each, (*path, number)) for number, each in enumerate(_list(told, path, "a list of positions"))]
    if len(ring) < FEWEST_IN_A_RING:
        _refuse(path, "too_few_positions", f"A ring has at least {FEWEST_IN_A_RING} positions; this has {len(ring)}.")
    if ring[0] != ring[-1]:
        detail = f"A ring ends where it began: repeat its first position, {list(ring[0])}, at its end."
        _refuse((*path, len(ring) - 1), "not_closed", detail)
    for number, (one, other) in enumerate(pairwise(ring)):
        if abs(one[0] - other[0]) > _HALF_ROUND:
            detail = (
                "The outline crosses the antimeridian (180°), which is not supported. Cut it there into two blocks."
            )
            _refuse((*path, number + 1), "crosses_antimeridian", detail)
    return ring


def _position(told: Any, path: Path) -> Position:
    numbers = _list(told, path, "a position: longitude, latitude and, if need be, height")
    if len(numbers) not in {2, 3}:
        _refuse(path, "wrong_length", f"A position has two numbers, or three with the height; this has {len(numbers)}.")
    longitude, latitude, *height = (_number(each, (*path, n)) for n, each in enumerate(numbers))
    if not -180 <= longitude <= 180:
        _refuse((*path, 0), "out_of_range", f"A longitude lies between -180 and 180 degrees; this is {longitude}.")
    if not -90 <= latitude <= 90:
        order = " Longitude comes first." if abs(longitude) <= 90 else ""
        _refuse((*path, 1), "out_of_range", f"A latitude lies between -90 and 90 degrees; this is {latitude}.{order}")
    return (longitude, latitude, *height)


def _number(told: Any, path: Path) -> float:
    if isinstance(told, bool) or not isinstance(told, int | float | Decimal) or not math.isfinite(told):
        _refuse(path, "wrong_type", f"Send a number of degrees, such as -76.123456; this is {repr(told)[:40]}.")
    return float(told) + 0.0  # a minus before nought would make another outline of the same one


def _list(told: Any, path: Path, what: str) -> list[Any]:
    if not isinstance(told, list) or not told:
        _refuse(path, "wrong_type", f"Send {what}, in brackets.")
    return told


def _check_validity(boundary: Boundary) -> None:
    polygons = [
        shapely.Polygon(_flat(outside), [_flat(hole) for hole in holes]) for outside, *holes in boundary.polygons
    ]
    shape = polygons[0] if boundary.single else shapely.MultiPolygon(polygons)
    _check_count([ring for polygon in boundary.polygons for ring in polygon])
    west, _, east, _ = shape.bounds
    if east - west > _HALF_ROUND:
        detail = "The outline lies on both sides of the antimeridian (180°), which is not supported. Make two blocks."
        _refuse(("coordinates",), "crosses_antimeridian", detail)
    if not shape.is_valid:
        said = shapely.is_valid_reason(shape).replace("[", " at ").rstrip("]")
        detail = f"The outline is not valid: {said[0].lower()}{said[1:]}. Mend it there and send it again."
        _refuse(("coordinates",), "invalid_outline", detail)


def _flat(ring: Ring) -> list[tuple[float, float]]:
    return [(position[0], position[1]) for position in ring]


def _wound(ring: Ring, *, left: bool) -> Iterator[Position]:
    return iter(ring) if shapely.LinearRing(_flat(ring)).is_ccw == left else reversed(ring)


def _ring_area(ring: Ring) -> float:
    polygon = Geodesic.WGS84.Polygon()
    for position in ring[:-1]:
        polygon.AddPoint(position[1], position[0])
    return abs(float(polygon.Compute()[2]))


def _refuse(path: Path, code: str, detail: str) -> NoReturn:
    raise NotValid.at("boundary", *path, code=code, detail=detail)
