"""The area of an outline, held to figures that others published or that follow from geometry alone."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

import pytest

from records.boundaries import read_boundary

#: WGS 84: equatorial radius [m] and flattening (NIMA TR8350.2).
A, F = 6378137.0, 1 / 298.257223563


def outline(*positions: list[float]) -> dict[str, Any]:
    return {"type": "Polygon", "coordinates": [[*positions, positions[0]]]}


def quad(degrees: float, latitude: float) -> dict[str, Any]:
    """A quadrangle of as many degrees on each side, its lower edge at a latitude."""
    return outline([10, latitude], [10 + degrees, latitude], [10 + degrees, latitude + degrees], [10, latitude + degrees])  # fmt: skip


def authalic(sine: float) -> float:
    """Twice the area between equator and a parallel over a full turn, as a share of 2 pi b²: Snyder (1987), eq. 3-12."""
    e = math.sqrt(F * (2 - F))
    return (1 - e * e) * (sine / (1 - e * e * sine * sine) + math.atanh(e * sine) / e) / 2


def between_parallels(latitude: float, degrees: float) -> float:
    """The area of the quadrangle between two parallels and two meridians, in closed form."""
    low, high = (authalic(math.sin(math.radians(each))) for each in (latitude, latitude + degrees))
    return A * A * math.radians(degrees) * (high - low)


def test_the_published_area_between_places_of_the_manual_of_geographiclib():
    """Karney's manual of the planimeter: 0N 0E, 0N 90E, 90N 0E enclose an eighth of the Earth, 63,758,202,715,511 m2."""
    octant = outline([0, 0], [90, 0], [0, 90])
    assert float(read_boundary(octant).area_m2()) == pytest.approx(63_758_202_715_511.0, abs=1)


@pytest.mark.parametrize("latitude", [0, 34.6, -34.6, 42.5, 60])
def test_a_small_field_has_the_area_between_its_parallels_and_meridians(latitude):
    """Over 0.001 degree, the geodesic leaves the parallel by less than a hair."""
    theirs = between_parallels(latitude, 0.001)
    assert float(read_boundary(quad(0.001, latitude)).area_m2()) == pytest.approx(theirs, rel=1e-6)


def test_a_hole_is_left_out_however_it_is_wound():
    outside, hole = quad(0.01, 42)["coordinates"][0], quad(0.001, 42.002)["coordinates"][0]
    hole = [[x + 0.002, y] for x, y in hole]
    whole, cut = (read_boundary({"type": "Polygon", "coordinates": [outside]}).area_m2(),
                  read_boundary({"type": "Polygon", "coordinates": [hole]}).area_m2())  # fmt: skip
    for told in (hole, hole[::-1]):
        left = read_boundary({"type": "Polygon", "coordinates": [outside, told]}).area_m2()
        assert abs(left - (whole - cut)) <= Decimal("0.02")
