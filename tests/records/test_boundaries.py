"""Outlines of blocks: GeoJSON that is checked, wound the right way, measured, and kept behind the farm's own door."""

from __future__ import annotations

import copy
from typing import Any

import pytest
import shapely

pytestmark = pytest.mark.django_db

LEFT = [[-76.5, 42.5], [-76.499, 42.5], [-76.499, 42.501], [-76.5, 42.501], [-76.5, 42.5]]
RIGHT = LEFT[::-1]
HOLE = [[-76.4998, 42.5002], [-76.4998, 42.5008], [-76.4992, 42.5008], [-76.4992, 42.5002], [-76.4998, 42.5002]]
SQUARE = {"type": "Polygon", "coordinates": [LEFT]}


@pytest.fixture
def blocks(cast) -> Any:
    """Give a way to post a block with an outline."""
    url = f"/api/v1/farms/{cast.farm.pk}/blocks"

    def post(boundary: Any, **more: Any) -> Any:
        return cast.owner.client.post(url, {"name": "Lower", "boundary": boundary, **more}, format="json")

    post.url = url  # type: ignore[attr-defined]
    return post


def other(change: Any) -> dict[str, Any]:
    """The good outline, spoilt."""
    spoilt: dict[str, Any] = copy.deepcopy(SQUARE)
    change(spoilt)
    return spoilt


def test_a_block_tells_its_area_beside_the_one_that_the_farm_declares(blocks):
    told = blocks(SQUARE, declared_area={"value": 2.25, "unit": "acre"}).json()
    assert told["computed_area"]["m2"] == pytest.approx(9130.84, abs=0.01)
    assert told["computed_area"]["har"] == pytest.approx(told["computed_area"]["m2"] / 10_000)
    assert told["declared_area"] == {"value": 2.25, "unit": "4840.[syd_i]", "m2": 9105.4269504}


@pytest.mark.parametrize(
    ("rings", "kept"),
    [([LEFT], [LEFT]), ([RIGHT], [LEFT]), ([RIGHT, HOLE[::-1]], [LEFT, HOLE]), ([LEFT, HOLE], [LEFT, HOLE])],
)
def test_rings_come_back_wound_by_the_right_hand_rule(rings, kept, blocks):
    told = blocks({"type": "Polygon", "coordinates": rings}).json()["boundary"]
    assert told == {"type": "Polygon", "coordinates": kept}
    shape = shapely.geometry.shape(told)
    assert shape.exterior.is_ccw and not any(hole.is_ccw for hole in shape.interiors)


def test_a_block_in_two_parts_and_with_heights_comes_back_as_it_was_sent(blocks):
    east = [[[x + 0.01, y, 231.5] for x, y in LEFT]]
    sent = {"type": "MultiPolygon", "coordinates": [[LEFT], east]}
    assert blocks(sent).json()["boundary"] == sent


def test_the_same_outline_sent_again_is_the_same_block(blocks):
    row_id = "01991b5e-0000-7000-8000-0000000b10c9"
    assert blocks({"type": "Polygon", "coordinates": [RIGHT]}, id=row_id).status_code == 201
    assert blocks(SQUARE, id=row_id).status_code == 200


@pytest.mark.parametrize(
    ("boundary", "pointer", "code"),
    [
        ("POLYGON ((0 0, 1 0, 1 1, 0 0))", "#/boundary", "wrong_type"),
        ({"type": "Point", "coordinates": [0, 0]}, "#/boundary/type", "wrong_type"),
        ({"type": "Feature", "geometry": SQUARE}, "#/boundary/type", "wrong_type"),
        ({"type": ["Polygon"], "coordinates": [LEFT]}, "#/boundary/type", "wrong_type"),
        ({**SQUARE, "crs": {"type": "name"}}, "#/boundary/crs", "unknown_member"),
        ({"type": "Polygon"}, "#/boundary/coordinates", "wrong_type"),
        ({"type": "Polygon", "coordinates": []}, "#/boundary/coordinates", "wrong_type"),
        ({"type": "Polygon", "coordinates": [[]]}, "#/boundary/coordinates/0", "wrong_type"),
        ({"type": "Polygon", "coordinates": LEFT}, "#/boundary/coordinates/0/0", "wrong_type"),
        ({"type": "MultiPolygon", "coordinates": [LEFT]}, "#/boundary/coordinates/0/0/0", "wrong_type"),
        ({"type": "Polygon", "coordinates": [LEFT[:2] + LEFT[:1]]}, "#/boundary/coordinates/0", "too_few_positions"),
        ({"type": "Polygon", "coordinates": [LEFT[:4]]}, "#/boundary/coordinates/0/3", "not_closed"),
        (other(lambda b: b["coordinates"][0][1].append("high")), "#/boundary/coordinates/0/1/2", "wrong_type"),
        (other(lambda b: b["coordinates"][0][1].extend([1, 2])), "#/boundary/coordinates/0/1", "wrong_length"),
        (other(lambda b: b["coordinates"][0][1].pop()), "#/boundary/coordinates/0/1", "wrong_length"),
        (other(lambda b: b["coordinates"][0][2].__setitem__(0, True)), "#/boundary/coordinates/0/2/0", "wrong_type"),
        (other(lambda b: b["coordinates"][0][2].__setitem__(0, 180.1)), "#/boundary/coordinates/0/2/0", "out_of_range"),
        (other(lambda b: b["coordinates"][0][2].__setitem__(1, -90.1)), "#/boundary/coordinates/0/2/1", "out_of_range"),
        ({"type": "Polygon", "coordinates": [[[0, 0], [1, 1], [1, 0], [0, 1], [0, 0]]]}, "#/boundary/coordinates",
         "invalid_outline"),
        ({"type": "Polygon", "coordinates": [[[1, 1]] * 5]}, "#/boundary/coordinates", "invalid_outline"),
        ({"type": "Polygon", "coordinates": [HOLE, LEFT]}, "#/boundary/coordinates", "invalid_outline"),
        ({"type": "Polygon", "coordinates": [[[179.9, 0], [-179.9, 0], [-179.9, 1], [179.9, 0]]]},
         "#/boundary/coordinates/0/1", "crosses_antimeridian"),
        ({"type": "MultiPolygon", "coordinates": [[[[179, 0], [180, 0], [180, 1], [179, 0]]],
                                                  [[[-180, 0], [-179, 0], [-180, 1], [-180, 0]]]]},
         "#/boundary/coordinates", "crosses_antimeridian"),
        ({"type": "Polygon", "coordinates": [[[0, 0], [3, 0], [3, 3], [0, 3], [0, 0]]]}, "#/boundary", "out_of_range"),
        ({"type": "Polygon", "coordinates": [[[0, 0], [1e-6, 0], [1e-6, 1e-6], [0, 0]]]}, "#/boundary", "out_of_range"),
    ],
)  # fmt: skip
def test_a_bad_outline_is_refused_at_its_place(boundary, pointer, code, blocks):
    answer = blocks(boundary)
    assert answer.status_code == 422, answer.json()
    assert [(error["pointer"], error["code"]) for error in answer.json()["errors"]] == [(pointer, code)]


def test_an_outline_that_crosses_itself_is_told_where(blocks):
    bow = {"type": "Polygon", "coordinates": [[[0, 0], [0.01, 0.01], [0.01, 0], [0, 0.01], [0, 0]]]}
    assert "self-intersection at 0.005 0.005" in blocks(bow).json()["detail"]


@pytest.mark.parametrize(("positions", "status"), [(10_000, 201), (10_001, 422)])
def test_an_outline_has_at_most_ten_thousand_positions(positions, status, blocks):
    edge = [[round(-76.5 + 1e-6 * n, 6), 42.5] for n in range(positions - 3)]
    ring = [*edge, [edge[-1][0], 42.51], [-76.5, 42.51], [-76.5, 42.5]]
    answer = blocks({"type": "Polygon", "coordinates": [ring]})
    assert answer.status_code == status, answer.json()
    if status == 422:
        assert answer.json()["errors"][0]["code"] == "too_many_positions"


def test_an_outline_is_changed_with_its_area_and_taken_away_with_it(blocks, cast):
    block = blocks(SQUARE).json()
    address = f"{blocks.url}/{block['id']}"
    wider = {"type": "Polygon", "coordinates": [[[x - 0.001 if x == -76.5 else x, y] for x, y in LEFT]]}
    changed = cast.owner.client.patch(address, {"boundary": wider}, format="json", headers={"If-Match": '"1"'}).json()
    assert changed["computed_area"]["m2"] == pytest.approx(2 * block["computed_area"]["m2"], rel=1e-6)
    gone = cast.owner.client.patch(address, {"boundary": None}, format="json", headers={"If-Match": '"2"'}).json()
    assert (gone["boundary"], gone["computed_area"], gone["version"]) == (None, None, 3)


@pytest.mark.parametrize("how", ["as", "accept"])
def test_a_farms_blocks_are_one_collection_of_features(how, blocks, cast):
    blocks(SQUARE)
    blocks(None, name="Upper")
    asked = {"as": ("?as=geojson", {}), "accept": ("", {"Accept": "application/geo+json"})}[how]
    answer = cast.viewer.client.get(blocks.url + asked[0], headers=asked[1])
    assert answer["Content-Type"] == "application/geo+json"
    told = answer.json()
    assert told["type"] == "FeatureCollection"
    lower, upper = told["features"]
    assert (lower["geometry"], upper["geometry"]) == (SQUARE, None)
    assert (lower["type"], lower["properties"]["name"], lower["properties"]["computed_area"]["m2"] > 0) == (
        "Feature", "Lower", True)  # fmt: skip


def test_the_collection_is_paged_in_its_own_form(blocks, cast):
    for name in ("A", "B", "C"):
        blocks(SQUARE, name=name)
    seen, address = [], f"{blocks.url}?as=geojson&limit=2"
    while address:
        page = cast.viewer.client.get(address).json()
        seen.append([feature["properties"]["name"] for feature in page["features"]])
        address = page["next"]
    assert seen == [["A", "B"], ["C"]]


def test_a_page_of_outlines_is_shorter_than_one_of_blocks_without(blocks, cast):
    for number in range(52):
        blocks(SQUARE, name=f"Block {number:02}")
    page = cast.viewer.client.get(f"{blocks.url}?as=geojson&limit=500").json()
    assert (len(page["features"]), page["next"] is None) == (50, False)
    assert len(cast.viewer.client.get(page["next"]).json()["features"]) == 2
    assert len(cast.viewer.client.get(f"{blocks.url}?limit=500").json()["results"]) == 52


def test_an_unknown_form_is_refused_with_the_known_ones(blocks, cast):
    answer = cast.viewer.client.get(f"{blocks.url}?as=shapefile")
    assert (answer.status_code, answer.json()["errors"][0]["parameter"]) == (400, "as")


def test_no_position_stands_in_the_list_of_blocks_or_anywhere_that_another_farm_reads(blocks, cast):
    block = blocks(SQUARE).json()
    assert "boundary" not in cast.viewer.client.get(blocks.url).json()["results"][0]
    for address in (f"{blocks.url}?as=geojson", f"{blocks.url}/{block['id']}"):
        for person in (cast.stranger, cast.lead):
            answer = person.client.get(address)
            assert answer.status_code == 404 and b"76.499" not in answer.content


def test_the_survey_acre_is_refused_with_the_way_out(blocks):
    answer = blocks(None, declared_area={"value": 2, "unit": "[acr_us]"})
    assert answer.status_code == 400
    assert "4840.[syd_i]" in answer.json()["detail"]
