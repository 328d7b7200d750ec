"""Whom a summary lets in, what it is narrowed to, and how little it asks of the database."""

from __future__ import annotations

import re
import uuid
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from balance.ranges import range_for
from balance.summaries import filters
from balance.summaries.block_heads import heads_of
from balance.summaries.crop_ranges import crop_ranges_of
from records.access import enter, open_farm
from records.models import Block, Farm, Measure, Visit
from records.services.farms import create_farm
from records.services.vineyards import create_block
from tests.balance.summaries.seasons import WEIGHTS, Seasons, of_2027, summed
from tests.conftest import leave_farms

pytestmark = pytest.mark.django_db
TAILS = ("season-summary", "season-trend", "weight-distribution", "block-comparison", "attention", "completeness")


@pytest.fixture
def lower(cast) -> Seasons:
    block = Seasons(cast, "Lower Terrace", cultivar_id="concord", training="bilateral_cordon")
    block.winter(2027, WEIGHTS)
    return block


@pytest.fixture
def upper(cast) -> Seasons:
    block = Seasons(cast, "Upper Bench", cultivar_id="reliance", rootstock="Own Roots", shelter="high_tunnel")
    block.winter(2027, WEIGHTS[:5])
    return block


def more_farms(cast, many: int, region: str = "") -> list[Farm]:
    """Give the owner more farms, each with a block."""
    farms = []
    for number in range(many):
        enter(cast.owner.caller)
        columns = {"name": f"Farm {number}", "hemisphere": "north", "time_zone": "America/New_York", "region": region}
        farm, _ = create_farm(cast.owner.caller, None, columns)
        create_block(open_farm(cast.owner.caller, farm.pk), None, {"name": "Only block", "cultivar_id": "concord"})
        farms.append(farm)
    leave_farms()
    return farms


def portfolio(player, tail: str = "season-summary", query: str = "") -> dict[str, Any]:
    return summed(player.client, f"portfolio/{tail}", query)


@pytest.mark.parametrize(
    ("query", "blocks"),
    [
        ("cultivar=concord", {"Lower Terrace"}),
        ("cultivar=Reliance", {"Upper Bench"}),
        ("rootstock=own roots", {"Upper Bench"}),
        ("training=bilateral_cordon", {"Lower Terrace"}),
        ("shelter=high_tunnel", {"Upper Bench"}),
        ("shelter=open_field&cultivar=concord", {"Lower Terrace"}),
        ("shelter=high_tunnel&cultivar=concord", set()),
        ("", {"Lower Terrace", "Upper Bench"}),
    ],
)
@pytest.mark.parametrize("scope", ["farm", "portfolio"])
def test_blocks_are_narrowed_by_what_stands_there(cast, lower, upper, scope, query, blocks):
    path = f"farms/{cast.farm.pk}" if scope == "farm" else "portfolio"
    told = summed(cast.viewer.client, f"{path}/block-comparison", f"season=2027&{query}")
    assert {line["block_name"] for line in told["results"]} == blocks
    summary = summed(cast.viewer.client, f"{path}/season-summary", f"season=2027&{query}")
    assert summary["blocks"] == len(blocks)
    weighed = {"Lower Terrace": len(WEIGHTS), "Upper Bench": 5}
    assert summary["weights"]["n"] == sum(weighed[name] for name in blocks)


@pytest.mark.parametrize("tail", TAILS)
@pytest.mark.parametrize("query", ["cultivar=merlot", "rootstock=none of ours"])
def test_a_value_that_no_block_has_is_refused_with_those_that_there_are(cast, lower, upper, tail, query):
    answer = cast.viewer.client.get(f"{lower.url}/{tail}?{query}")
    assert answer.status_code == 422
    said = answer.json()["errors"][0]
    assert said["code"] == "unknown_value"
    assert "concord" in said["detail"] or "Own Roots" in said["detail"]


@pytest.mark.parametrize("query", ["training=sideways", "shelter=roof", "units=stones", "season=12", "region=x", "x=1"])
def test_what_the_address_does_not_know_is_refused(cast, lower, query):
    assert cast.viewer.client.get(f"{lower.url}/season-summary?{query}").status_code == 400


def test_a_block_takes_no_filters(cast, lower):
    answer = cast.viewer.client.get(f"{lower.url}/blocks/{lower.block.pk}/season-summary?cultivar=concord")
    assert answer.status_code == 400


@pytest.mark.parametrize("tail", [tail for tail in TAILS if tail != "block-comparison"])
def test_a_block_of_nobody_or_of_another_farm_is_not_found(cast, lower, tail):
    mine = f"{lower.url}/blocks/{uuid.uuid4()}/{tail}"
    assert cast.viewer.client.get(mine).status_code == 404
    other = f"/api/v1/farms/{cast.other_farm.pk}/blocks/{lower.block.pk}/{tail}"
    assert cast.stranger.client.get(other).status_code == 404


def test_a_portfolio_holds_the_callers_own_farms_and_nobody_elses(cast, lower):
    assert portfolio(cast.owner)["farms"] == 1
    assert portfolio(cast.stranger)["farms"] == 0
    assert portfolio(cast.stranger, "block-comparison")["results"] == []


def consent_of(cast) -> str:
    listed = cast.owner.client.get(f"/api/v1/farms/{cast.farm.pk}/consents").json()["results"]
    return str(next(each["id"] for each in listed if each["purpose"] == "advice"))


@pytest.mark.parametrize("tail", TAILS)
def test_an_adviser_sees_a_farm_after_the_consent_and_not_after_its_withdrawal(cast, lower, tail):
    def names() -> str:
        return str(cast.adviser.client.get(f"/api/v1/portfolio/{tail}?{of_2027(tail)}").content.decode())

    before = portfolio(cast.adviser, "block-comparison")
    assert [line["block_name"] for line in before["results"]] == ["Lower Terrace"]
    given = names()
    place = f"/api/v1/farms/{cast.farm.pk}/consents/{consent_of(cast)}"
    answer = cast.owner.client.delete(place, headers={"If-Match": "*"})
    assert answer.status_code in {200, 204}, answer.content
    assert portfolio(cast.adviser, "block-comparison")["results"] == []
    assert portfolio(cast.adviser)["weights"]["n"] == 0
    assert names() != given
    asked = {"purpose": "advice", "text_version": "advice@1", "rights": ["read"]}
    person = {"email": cast.adviser.person.email, "name": cast.adviser.person.name}
    again = cast.owner.client.post(f"/api/v1/farms/{cast.farm.pk}/consents", asked | {"adviser": person}, format="json")
    assert again.status_code == 201, again.content
    assert [line["block_name"] for line in portfolio(cast.adviser, "block-comparison")["results"]] == ["Lower Terrace"]


def test_each_farm_that_a_consent_opens_notes_the_visit_and_no_other_does(cast, lower):
    portfolio(cast.adviser, "attention")
    portfolio(cast.owner, "attention")
    enter(cast.owner.caller)
    open_farm(cast.owner.caller, cast.farm.pk)
    visits = Visit.objects.for_farm(cast.farm).filter(path="/api/v1/portfolio/attention")
    assert [visit.person_id for visit in visits] == [cast.adviser.person.pk]


def test_a_farm_that_a_filter_leaves_out_is_not_visited(cast, lower):
    other = more_farms(cast, 1, "Far Valley (invented)")[0]
    place = f"/api/v1/farms/{other.pk}/consents"
    asked = {"purpose": "advice", "text_version": "advice@1", "rights": ["read"]}
    person = {"email": cast.adviser.person.email, "name": cast.adviser.person.name}
    assert cast.owner.client.post(place, asked | {"adviser": person}, format="json").status_code == 201
    told = portfolio(cast.adviser, "season-summary", "region=far valley (invented)")
    assert told["farms"] == 1
    enter(cast.owner.caller)
    open_farm(cast.owner.caller, cast.farm.pk)
    assert not Visit.objects.for_farm(cast.farm).filter(path="/api/v1/portfolio/season-summary").exists()


def test_a_key_that_may_not_read_opens_no_portfolio(cast):
    from rest_framework.test import APIClient

    from records.services.keys import make_key

    _, text = make_key(cast.owner.person, label="records only", scopes=["record"], app_name="test app")
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {text}")
    assert client.get("/api/v1/portfolio/season-summary").status_code == 403


def test_farms_are_narrowed_by_region_and_by_id_and_what_there_is_not_is_refused(cast, lower):
    farms = more_farms(cast, 2, "Far Valley (invented)")
    assert portfolio(cast.owner)["farms"] == 3
    assert portfolio(cast.owner, "season-summary", "region=FAR valley (invented)")["farms"] == 2
    assert portfolio(cast.owner, "season-summary", f"farm={farms[0].pk}")["farms"] == 1
    unknown = cast.owner.client.get("/api/v1/portfolio/season-summary?region=nowhere")
    assert unknown.status_code == 422
    assert "Far Valley" in unknown.json()["errors"][0]["detail"]
    for farm in (uuid.uuid4(), cast.other_farm.pk):
        other = cast.owner.client.get(f"/api/v1/portfolio/season-summary?farm={farm}")
        assert (other.status_code, other.json()["errors"][0]["code"]) == (422, "unknown_farm")


def test_more_farms_or_blocks_than_are_summed_up_at_once_are_refused_with_a_way_out(cast, lower, upper, monkeypatch):
    more_farms(cast, 2)
    monkeypatch.setattr(filters, "MOST_FARMS", 2)
    refused = cast.owner.client.get("/api/v1/portfolio/season-summary")
    assert (refused.status_code, refused.json()["errors"][0]["code"]) == (422, "too_many_farms")
    assert "region=" in refused.json()["errors"][0]["detail"]
    assert portfolio(cast.owner, "season-summary", f"farm={cast.farm.pk}")["farms"] == 1
    monkeypatch.setattr(filters, "MOST_BLOCKS", 1)
    refused = cast.owner.client.get(f"{lower.url}/season-summary")
    assert (refused.status_code, refused.json()["errors"][0]["code"]) == (422, "too_many_blocks")
    assert summed(cast.owner.client, f"farms/{cast.farm.pk}/season-summary", "cultivar=concord")["blocks"] == 1


def asked_of(client, path: str) -> list[str]:
    """Give the statements of a second request: the first may sum up what was written before."""
    client.get(path)
    with CaptureQueriesContext(
        connection,
    ) as captured:
        answer = client.get(path)
    assert answer.status_code == 200, answer.content
    return [each["sql"] or "" for each in captured]


@pytest.mark.parametrize("tail", TAILS)
def test_what_is_asked_of_the_database_grows_neither_with_vines_nor_blocks_nor_farms(cast, lower, tail):
    lower.choose_range(5, 10)
    lower.case(1)
    of_farm, of_all = f"{lower.url}/{tail}?{of_2027(tail)}", f"/api/v1/portfolio/{tail}?{of_2027(tail)}"
    few = len(asked_of(cast.owner.client, of_farm)), len(asked_of(cast.owner.client, of_all))
    for name in ("Second", "Third", "Fourth"):
        more = Seasons(cast, name, cultivar_id="reliance")
        more.winter(2027, [*WEIGHTS, *WEIGHTS])
        more.look(2027, 1, 4, 2)
        more.case(2)
    more_farms(cast, 3)
    assert (len(asked_of(cast.owner.client, of_farm)), len(asked_of(cast.owner.client, of_all))) == few


@pytest.mark.parametrize("tail", TAILS)
def test_no_record_of_a_vine_is_read(cast, lower, tail):
    for path in (f"{lower.url}/{tail}", f"/api/v1/portfolio/{tail}"):
        statements = " ".join(asked_of(cast.owner.client, path))
        for table in ("dormant_record", "harvest_record", "cordon_inspection", "bud_sample"):
            assert not re.search(rf'(FROM|JOIN) "?{table}"?\b', statements), (path, table)


def test_the_range_of_a_block_is_the_same_whether_asked_of_one_or_of_many(cast, lower, upper):
    lower.choose_range(4, 9)
    kinds: list[dict[str, Any]] = [
        {"cultivar_id": "concord", "use": "juice"},
        {"cultivar_id": "concord", "use": "wine", "canopies": 2},
        {"cultivar_group_id": "american", "training": "geneva_double_curtain"},
        {"use": "table"},
    ]
    for number, columns in enumerate(kinds):
        enter(cast.owner.caller)
        create_block(open_farm(cast.owner.caller, cast.farm.pk), None, {"name": f"Block {number}", **columns})
    of_farm = {"measure": "yield_to_pruning_weight"}
    for chosen in (None, "own-wide"):
        if chosen:
            made = {"code": chosen, "label": "wide", "source": "invented", "low": 1, "high": 30, "unit": "1"}
            assert cast.owner.client.post(f"{lower.url}/ranges", made | of_farm, format="json").status_code == 201
            choice = cast.owner.client.post(f"{lower.url}/range-choices", of_farm | {"range": chosen}, format="json")
            assert choice.status_code == 201
        enter(cast.owner.caller)
        opened = open_farm(cast.owner.caller, cast.farm.pk)
        many = crop_ranges_of(connection, heads_of([cast.farm.pk]))
        blocks = Block.objects.for_farm(cast.farm).select_related("cultivar", "cultivar_group")
        assert len(blocks) == 6
        for block in blocks:
            one = range_for(opened, block, Measure.YIELD_TO_PRUNING_WEIGHT)
            assert many.get((cast.farm.pk, block.pk)) == one, block.name


@pytest.mark.parametrize("tail", TAILS)
def test_an_answer_that_did_not_change_is_304_and_one_that_did_is_told_anew(cast, lower, tail):
    client, path = cast.viewer.client, f"{lower.url}/{tail}?{of_2027(tail)}"
    first = client.get(path)
    tag = first["ETag"]
    assert tag.startswith('W/"')
    assert first["Cache-Control"] == "private, no-cache"
    for known in (tag, tag.removeprefix("W/"), f'"other", {tag}', "*"):
        again = client.get(path, headers={"If-None-Match": known})
        assert (again.status_code, again.content, again["ETag"]) == (304, b"", tag)
    assert client.get(path, headers={"If-None-Match": 'W/"other"'}).status_code == 200
    lower.winter(2027, [None] * 12 + [2.75, 2.75])
    changed = client.get(path, headers={"If-None-Match": tag})
    assert changed.status_code == 200
    assert changed["ETag"] != tag


@pytest.mark.parametrize("tail", ["season-trend", "weight-distribution", "block-comparison"])
@pytest.mark.parametrize("form", ["svg", "vega-lite"])
def test_a_chart_that_did_not_change_is_304(cast, lower, tail, form):
    path = f"{lower.url}/{tail}?as={form}"
    tag = cast.viewer.client.get(path)["ETag"]
    assert cast.viewer.client.get(path, headers={"If-None-Match": tag}).status_code == 304
    assert cast.viewer.client.get(f"{lower.url}/{tail}", headers={"If-None-Match": tag}).status_code == 200


def test_as_of_is_told_and_makes_no_other_answer(cast, lower):
    one, two = (cast.viewer.client.get(f"{lower.url}/season-summary") for _ in range(2))
    assert one.json()["as_of"] <= two.json()["as_of"]
    assert one["ETag"] == two["ETag"]


@pytest.mark.parametrize(("tail", "order"), [("block-comparison", "mean_weight"), ("block-comparison", "name"),
                                             ("completeness", ""), ("attention", "")])  # fmt: skip
def test_pages_show_every_line_once_in_one_order(cast, lower, upper, tail, order):
    for number in range(5):
        Seasons(cast, f"Block {number}").winter(2027, [1.5, 1.5], step=None)
    query = f"season=2027&{f'order={order}&' if order else ''}"
    whole = summed(cast.viewer.client, f"farms/{cast.farm.pk}/{tail}", query)["results"]
    seen: list[Any] = []
    address, pages = f"{lower.url}/{tail}?{query}limit=3", 0
    while address:
        answer = cast.viewer.client.get(address)
        page = answer.json()
        assert page["count"] == len(whole)
        assert ("Link" in answer.headers) == (page["next"] is not None)
        seen, address, pages = seen + page["results"], page["next"], pages + 1
    assert seen == whole
    assert pages == -(-len(whole) // 3) > 1


@pytest.mark.parametrize("query", ["limit=0", "limit=501", "limit=x", "cursor=", "cursor=abc", "cursor=a:b:c"])
def test_a_page_that_cannot_be_is_refused(cast, lower, query):
    assert cast.viewer.client.get(f"{lower.url}/block-comparison?{query}").status_code == 400


def test_a_cursor_is_good_for_its_own_list_alone(cast, lower, upper):
    following = cast.viewer.client.get(f"{lower.url}/block-comparison?limit=1").json()["next"]
    cursor = following.rpartition("cursor=")[2]
    for other in ("block-comparison?order=standing", "completeness?limit=1"):
        answer = cast.viewer.client.get(f"{lower.url}/{other}&cursor={cursor}")
        assert (answer.status_code, answer.json()["errors"][0]["code"]) == (400, "invalid_cursor")


@pytest.mark.parametrize(
    "order", ["standing", "mean_difference", "crop_load", "blank_share", "weighed_share", "tasks_due"]
)
def test_lines_without_the_figure_come_last(cast, lower, upper, order):
    Seasons(cast, "Bare ground")
    told = summed(cast.viewer.client, f"farms/{cast.farm.pk}/block-comparison", f"season=2027&order={order}")["results"]
    assert len(told) == 3
    if order != "standing":
        values = [line[order] for line in told]
        known = [value for value in values if value is not None]
        assert values == sorted(known, reverse=order != "weighed_share") + [None] * (3 - len(known))
