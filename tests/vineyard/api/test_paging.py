"""Pages by key: every row once, whatever the page size, the direction, or what is added meanwhile."""

from __future__ import annotations

from typing import Any

import pytest
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.test import APIRequestFactory
from rest_framework.views import APIView

from records.access import enter, open_farm
from records.models import Farm, Vine
from records.services.vineyards import create_block, create_row, plant_row
from vineyard.api.paging import KeysetPagination

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


def test_a_cursor_of_another_block_is_refused(listed):
    cursor = listed.viewer.client.get(f"{listed.url}?limit=3").json()["next"].split("cursor=")[1]
    enter(listed.owner.caller)
    other = create_block(open_farm(listed.owner.caller, listed.farm.pk), None, {"name": "Upper Terrace"}).row
    answer = listed.viewer.client.get(f"/api/v1/farms/{listed.farm.pk}/blocks/{other.pk}/vines?cursor={cursor}")
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (400, "invalid_cursor")


def test_the_longest_names_make_cursors_no_longer_than_the_document_says(listed):
    """Names of 120 characters that JSON writes with twelve bytes each; cursors of at most 2,000 characters."""
    for each in range(3):
        name = "".join(chr(0x1F300 + (7 * each + 31 * place) % 700) for place in range(120))
        assert (
            listed.owner.client.post(
                f"/api/v1/farms/{listed.farm.pk}/blocks", {"name": name}, format="json"
            ).status_code
            == 201
        )
    seen, address = 0, f"/api/v1/farms/{listed.farm.pk}/blocks?limit=1"
    while address:
        page = listed.viewer.client.get(address).json()
        seen, address = seen + len(page["results"]), page["next"]
        assert len((address or "").partition("cursor=")[2]) <= 2000
    assert seen == 4


class Newest(APIView):
    """A list whose order leaves rows tied: id is added by the paginator."""

    keyset = ("-row_number",)

    def get(self, request: Request) -> Response:
        pages = KeysetPagination()
        rows = pages.paginate_queryset(
            Vine.objects.for_farm(Farm.objects.get(pk=request.query_params["farm"])), request, self
        )
        return pages.get_paginated_response([(vine.row_number, str(vine.pk)) for vine in rows])


def test_a_list_in_descending_order_with_ties_is_every_row_once_too(listed):
    enter(listed.owner.caller)
    open_farm(listed.owner.caller, listed.farm.pk)
    view = Newest.as_view(authentication_classes=[], permission_classes=[])
    seen: list[tuple[int, str]] = []
    address = f"/?limit=3&farm={listed.farm.pk}"
    while address:
        page = view(APIRequestFactory().get(address)).data
        seen, address = seen + page["results"], page["next"]
    assert seen == sorted(seen, reverse=True)
    assert len(set(seen)) == 10


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
