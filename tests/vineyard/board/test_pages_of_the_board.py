"""The pages of the board: what an adviser reads on them, in units of their own, and how every link of them answers."""

from __future__ import annotations

import re
from typing import Any
from urllib.parse import quote, urlsplit

import pytest
from django.urls import Resolver404, resolve

from balance.vine_maps.reading import SHOWS
from records.access import enter, open_farm
from records.models.vineyards import Shelter, Training
from records.services.vineyards import create_block
from tests.balance.api.test_vine_map import Ground
from tests.balance.cordons.test_cases import Cases
from tests.vineyard.board.boarding import Visitor, loaded, read, same_application, words
from vineyard.board.portfolio import SHELTERS, TRAININGS
from vineyard.templatetags.board import beside_target

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("same_application")]
__all__ = ["loaded", "same_application"]
FARM = "/farms/{farm}"
BLOCK = f"{FARM}/blocks/{{block}}"
HOSTILE = [
    "\x00",
    "%00",
    "'",
    '"><script>alert(1)</script>',
    "9" * 400,
    "-1",
    "NaN",
    "\u202e",
    "../../../",
    "{{7*7}}",
    "%ff",
]


@pytest.fixture
def ground(cast) -> Ground:
    ground = Ground(cast)
    ground.tell(11, "missing", "2026-06-01")
    ground.inspect(0, "left", living_positions=6, blank_positions=6)
    Cases(ground).open(vine=str(ground.vines[0].pk), noticed_on="2025-01-10")
    return ground


@pytest.fixture
def adviser(ground) -> Visitor:
    visitor = Visitor()
    assert visitor.sign_in(ground.cast.adviser.key_text).status_code == 302
    return visitor


def farm(ground: Ground, tail: str = "") -> str:
    return f"/board/farms/{ground.cast.farm.pk}{tail}"


def block(ground: Ground, tail: str = "") -> str:
    return farm(ground, f"/blocks/{ground.block.pk}{tail}")


def places(ground: Ground) -> list[str]:
    """Give every page that an adviser with one farm and one block can come to."""
    return [
        "/board", "/board/worklists", "/board/reports", farm(ground), farm(ground, "/worklist"), farm(ground, "/reports"),
        *(block(ground, f"?show={show}&season=2027") for show in SHOWS),
    ]  # fmt: skip


def test_every_page_has_one_heading_a_language_and_a_title_and_nothing_that_its_policy_forbids(adviser, ground):
    for path in places(ground):
        page = adviser.page(path)
        html = page.content.decode()
        assert html.count("<h1") == 1, path
        assert '<html lang="en">' in html
        assert re.search(r"<title>\S.*</title>", html)
        assert not re.search(r"<[^>]+\s(style|on\w+)=", html), path
        assert "<style" not in html
        assert "<script" not in html
        assert page.headers["Content-Security-Policy"].startswith("default-src 'none'")
        assert page.headers["Cache-Control"] == "private, no-store"


def test_every_link_and_every_picture_of_every_page_is_there(adviser, ground):
    seen: set[str] = set()
    for path in places(ground):
        found = read(adviser.page(path))
        for link in [*found.links, *found.pictures]:
            where = urlsplit(link)
            address = (where.path or path.partition("?")[0]) + (f"?{where.query}" if where.query else "")
            if address in seen or not address.startswith("/board"):
                continue
            seen.add(address)
            assert adviser.get(address).status_code == 200, (path, link)
    assert len(seen) > 25


def test_what_is_written_in_the_templates_stands_at_an_address(adviser, ground):
    found = read(adviser.page(block(ground)))
    for link in found.links:
        where = urlsplit(link).path
        if where and not where.startswith("/board"):
            try:
                resolve(where)
            except Resolver404:
                pytest.fail(link)


def test_the_first_page_tells_what_needs_a_look_and_how_the_blocks_stand(adviser, ground):
    said = words(adviser.page("/board"))
    told = ground.cast.adviser.client.get("/api/v1/portfolio/attention").json()["results"]
    assert told
    assert all(" ".join(each["sentence"].split()) in said for each in told)
    assert "Lower Terrace" in said
    assert ground.cast.farm.name in said


def test_a_block_is_told_with_its_weights_targets_and_verdicts(adviser, ground):
    page = adviser.page(block(ground, "?season=2027&show=count&row=1"))
    said = words(page)
    assert "10 weighed" in said
    row = ground.client.get(f"{ground.url}/blocks/{ground.block.pk}/targets?season=2027").json()["results"][9]
    assert f"10 {row['pruning_weight_kg']:.2f} kg {row['nodes']} – not counted" in said
    assert "2 vines of the row were neither weighed nor counted" in said


@pytest.mark.parametrize(
    ("nodes", "told"), [(-0.6, "0.6 nodes below target"), (20.3, "20.3 nodes above target"), (-0.04, "on target")]
)
def test_a_mean_difference_is_told_in_words(nodes, told):
    assert beside_target(nodes) == told


def test_what_stands_now_is_told_as_of_now_beside_an_older_season(adviser, ground):
    assert "1 replacement under way now" in words(adviser.page(block(ground, "?season=2026")))
    assert "Cordon tasks now" in words(adviser.page(farm(ground, "?season=2026")))


def test_two_cordons_of_one_vine_are_two_tasks_on_one_vine(adviser, ground):
    Cases(ground).open(vine=str(ground.vines[0].pk), noticed_on="2025-01-10", cordon="right")
    said = words(adviser.page(farm(ground, "/worklist?season=2026&part_of_year=summer")))
    assert "Look for a candidate 2 tasks on 1 vine" in said


def test_one_cordon_and_one_case_are_told_in_the_singular(adviser, ground):
    assert "1 cordon inspected" in words(adviser.page(block(ground, "?season=2027")))
    ground.tell(0, "missing", "2026-12-01")
    assert "1 case asks for nothing" in words(adviser.page(farm(ground, "/worklist?season=2027&part_of_year=winter")))


def test_weights_are_told_in_pounds_to_whoever_chose_them(adviser, ground):
    where = block(ground, "?season=2027")
    changed = adviser.post("/board/units", {"units": "us", "next": where}, seen_at="/board")
    assert (changed.status_code, changed.headers["Location"]) == (302, where)
    assert "10 5.00 lb" in words(adviser.page(where))
    assert "up to 1.40 lb" in words(adviser.page(where)).lower()
    assert b"1.40 lb" in adviser.page(block(ground, "/vine-map.svg?season=2027&show=weight")).content


@pytest.mark.parametrize("show", SHOWS)
def test_the_map_of_the_page_is_the_drawing_of_the_api(adviser, ground, show):
    drawn = adviser.page(block(ground, f"/vine-map.svg?season=2027&show={show}"))
    same = ground.ask(f"season=2027&show={show}&as=svg")
    assert drawn.content == same.content
    assert drawn.headers["Content-Type"] == "image/svg+xml"
    assert drawn.headers["Content-Security-Policy"] == same.headers["Content-Security-Policy"]


def test_a_worklist_is_read_printed_and_taken_along(adviser, ground):
    query = "?season=2027&part_of_year=summer"
    page = adviser.page(farm(ground, f"/worklist{query}"))
    assert "Row 1, vine 1" in words(page)
    printed = adviser.page(farm(ground, f"/worklist/print{query}"))
    assert "<h1>Cordon work" in printed.content.decode()
    assert "style-src 'sha256-" in printed.headers["Content-Security-Policy"]
    file = adviser.page(farm(ground, f"/worklist.csv{query}"))
    assert file.headers["Content-Disposition"].startswith("attachment")


def test_a_report_is_asked_for_followed_and_fetched(adviser, ground):
    asked = adviser.post(farm(ground, "/reports"), {"season": "2027", "units": "us"}, seen_at=farm(ground, "/reports"))
    assert asked.status_code == 302
    page = adviser.page(asked.headers["Location"])
    assert "queued" in words(page)
    assert "script-src 'self'" in page.headers["Content-Security-Policy"]
    assert re.findall(r'<script src="([^"]+)"', page.content.decode()) == ["/static/vineyard/board.js"]
    refused = adviser.get(f"{asked.headers['Location']}/files/pdf")
    assert refused.status_code == 409
    assert "<h1>" in refused.content.decode()


@pytest.mark.parametrize("season", ["", "soon", "1", "9" * 30, "-5", "2027.5"])
def test_a_report_of_no_season_is_refused_beside_the_form(adviser, ground, season):
    page = adviser.post(farm(ground, "/reports"), {"season": season, "units": "us"}, seen_at=farm(ground, "/reports"))
    assert page.status_code in {400, 422}
    assert 'role="alert"' in page.content.decode()
    assert "season" in words(page)


def test_a_farm_without_a_block_a_block_without_a_vine_and_a_person_without_a_farm_have_their_pages(cast):
    lead = Visitor()
    lead.sign_in(cast.lead.key_text)
    assert "No farm has let you in yet" in words(lead.page("/board"))
    owner = Visitor()
    owner.sign_in(cast.owner.key_text)
    assert "No block is on record" in words(owner.page(f"/board/farms/{cast.farm.pk}"))
    enter(cast.owner.caller)
    bare = create_block(open_farm(cast.owner.caller, cast.farm.pk), None, {"name": "Bare"}).row
    page = owner.page(f"/board/farms/{cast.farm.pk}/blocks/{bare.pk}")
    assert "No vine is on record" in words(page)


TAKES = {
    "": ("season", "order", "notices", "blocks", "region", "cultivar", "rootstock", "training", "shelter"),
    "/worklists": ("blocks",),
    "/sign-in": ("next", "said"),
    FARM: ("season", "order", "notices", "blocks", "figure"),
    f"{FARM}/charts/season-trend.svg": ("figure",),
    f"{FARM}/worklist": ("season", "part_of_year", "block", "row_number", "task", "order"),
    f"{FARM}/worklist/print": ("block", "order"),
    f"{FARM}/reports": ("cursor",),
    BLOCK: ("season", "show", "row", "figure", "from_row", "to_row", "all"),
    f"{BLOCK}/vine-map.svg": ("season", "show", "from_row", "rows_run"),
}


def test_no_query_breaks_a_page(adviser, ground):
    """Every parameter of every page meets a share of the hostile values, its neighbour the next share."""
    turn = 0
    for path, names in TAKES.items():
        where = "/board" + path.format(farm=ground.cast.farm.pk, block=ground.block.pk)
        for name in names:
            for value in HOSTILE[turn % 4 :: 4]:
                page = adviser.get(f"{where}?{name}={value if value.startswith('%') else quote(value)}")
                assert page.status_code in {200, 400, 404, 422}, (where, name, value, page.status_code)
                assert b"<script>" not in page.content
                assert page.headers["Content-Type"].startswith(("text/html", "image/svg+xml"))
            turn += 1


def test_what_the_api_refuses_is_told_with_the_way_out(adviser, ground):
    page = adviser.get(farm(ground, "?season=abc"))
    assert page.status_code == 400
    assert "season" in words(page)
    assert "/problems/validation-error" in read(page).links


def test_text_that_people_wrote_is_text_on_the_page(adviser, ground):
    name = '"><script>alert(1)</script>{{ 7 }}'
    ground.cast.owner.client.patch(
        f"{ground.url}/blocks/{ground.block.pk}", {"name": name}, format="json", headers={"If-Match": "*"}
    )
    for path in places(ground):
        page = adviser.page(path)
        assert b"<script>" not in page.content
    assert name in "".join(read(adviser.page(block(ground))).texts)


def test_the_form_that_narrows_names_every_training_and_shelter_of_the_records():
    assert set(TRAININGS) == set(Training.values)
    assert set(SHELTERS) == set(Shelter.values)


def test_blocks_are_narrowed_and_ordered_as_the_address_says(adviser, ground):
    assert "Lower Terrace" in words(adviser.page("/board?cultivar=concord&order=name"))
    page = adviser.page("/board?cultivar=riesling")
    assert "Nothing that was asked about has this cultivar" in words(page)


def test_a_list_longer_than_a_page_goes_on_where_it_ended(adviser, ground, monkeypatch):
    monkeypatch.setattr("vineyard.board.portfolio.LINES", 1)
    ground.cast.owner.client.post(f"{ground.url}/blocks", {"name": "Upper Terrace"}, format="json")
    first = adviser.page("/board?order=name")
    following = next(link for link in read(first).links if "blocks=" in link)
    second = words(adviser.page(f"/board{following}"))
    assert "Lower Terrace" in table(first)
    assert "Upper Terrace" in second


def table(page: Any) -> str:
    return str(page.content.decode()).split("<table")[1].split("</table>")[0]


def test_a_block_too_large_to_be_drawn_whole_is_drawn_by_rows(adviser, ground, monkeypatch):
    with monkeypatch.context() as patched:
        patched.setattr("balance.walking.MOST_VINES", 11)
        page = adviser.page(block(ground, "?season=2027&row=1"))
    assert "at most 11 are answered at once" in words(page)
    assert 'name="from_row"' in page.content.decode()
    part = adviser.page(block(ground, "?season=2027&from_row=1&to_row=1"))
    assert any("from_row=1&to_row=1" in picture for picture in read(part).pictures)
