"""Pages by key: every row once, whatever the page size, the direction, or what is added meanwhile."""

from __future__ import annotations

from typing import Any

import pytest

from records.access import enter, open_farm
from records.services.vineyards import create_block, create_row, plant_row

pytestmark = pytest.mark.django_db


@pytest.fixture
def listed(cast):
    """A block of two rows of five vines: rows tie in their first key."""
    enter(cast.owner.caller)
    opened = open_farm(cast.owner.caller, cast.farm.pk)
    block = create_block(opened, None, {"name": "Lower Terrace"}).row
    for number in (1, 2):
        plant_row(opened, create_row(opened, block, None, number).row, 5)
    cast.url = f"/api/v1/farms/{cast.farm.pk}/blocks/{block.pk}/vines"
    return cast


def walk(cast: Any, address: str | None, direction: str = "next") -> list[tuple[int, int]]:
    seen = []
    while address:
        page = cast.viewer.client.get(address).json()
        seen.append([(vine["row_number"], vine["place"]) for vine in page["results"]])
        address = page[direction]
    if direction == "previous":
        seen.reverse()
    return [place for page in seen for place in page]


EVERY_VINE = [(row, place) for row in (1, 2) for place in range(1, 6)]


@pytest.mark.parametrize("limit", [1, 3, 4, 10, 500])
def test_the_pages_together_are_every_row_once_in_order(limit, listed):
    assert walk(listed, f"{listed.url}?limit={limit}") == EVERY_VINE


def test_the_way_back_gives_the_same_rows(listed):
    address, last = f"{listed.url}?limit=3", None
    while address:
        last, address = address, listed.viewer.client.get(address).json()["next"]
    assert walk(listed, last, "previous") == EVERY_VINE


def test_a_row_added_before_the_cursor_moves_nothing(listed):
    first = listed.viewer.client.get(f"{listed.url}?limit=7").json()
    listed.owner.client.post(listed.url, {"row_number": 1, "place": 999}, format="json")
    assert walk(listed, first["next"]) == EVERY_VINE[7:]


def test_the_link_header_says_what_the_body_says(listed):
    answer = listed.viewer.client.get(f"{listed.url}?limit=3")
    assert answer.headers["Link"] == f'<{answer.json()["next"]}>; rel="next"'


def test_a_cursor_is_good_for_its_own_list_and_filters_only(listed):
    cursor = listed.viewer.client.get(f"{listed.url}?limit=3").json()["next"].split("cursor=")[1]
    for other in (f"{listed.url}?row_number=1&cursor={cursor}", f"/api/v1/farms?cursor={cursor}"):
        answer = listed.viewer.client.get(other)
        assert (answer.status_code, answer.json()["errors"][0]["code"]) == (400, "invalid_cursor")


def test_a_changed_cursor_is_refused(listed):
    cursor = listed.viewer.client.get(f"{listed.url}?limit=3").json()["next"].split("cursor=")[1]
    assert listed.viewer.client.get(f"{listed.url}?cursor=A{cursor}").status_code == 400


def test_rows_are_counted_only_when_asked(listed):
    assert "count" not in listed.viewer.client.get(listed.url).json()
    counted = listed.viewer.client.get(f"{listed.url}?count=capped").json()
    assert (counted["count"], counted["count_is_exact"]) == (10, True)


def test_the_last_page_has_no_next_and_the_first_no_previous(listed):
    page = listed.viewer.client.get(f"{listed.url}?limit=500").json()
    assert (page["next"], page["previous"]) == (None, None)


@pytest.mark.parametrize("page_size", [1, 500])
def test_a_page_of_any_size_takes_the_same_number_of_queries(page_size, listed, django_assert_max_num_queries):
    with django_assert_max_num_queries(12):
        listed.viewer.client.get(f"{listed.url}?limit={page_size}")
