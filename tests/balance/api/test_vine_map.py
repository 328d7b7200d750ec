"""The map of a block: what is on record of every place, by columns, and the same drawn so that no colour is needed."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from typing import Any

import pytest

from balance import walking
from balance.vine_maps.reading import SHOWS
from records.access import enter, open_farm
from records.kinds.definitions import CORDON_INSPECTION, VINE_EVENT
from records.models import Cultivar, Vine
from records.services.vineyards import create_block, create_row, plant_row
from tests.balance.cordons.test_cases import Cases
from tests.records.yard import Yard

pytestmark = pytest.mark.django_db
SVG = "{http://www.w3.org/2000/svg}"
POUNDS = [0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0]


class Ground(Yard):
    """Twelve vines: ten weighed, the eleventh not, the twelfth missing; the first is counted, the second young."""

    def __init__(self, cast: Any) -> None:
        super().__init__(cast)
        self.cast = cast
        self.block.cultivar = Cultivar.objects.get(code="concord")
        self.block.save()
        for vine, pounds in zip(self.vines, POUNDS, strict=False):
            self.weigh(vine, pounds)

    def weigh(self, vine: Any, pounds: float, **more: Any) -> None:
        body = {
            "vine": str(vine.pk), "observed_at": "2027-01-16T10:02:00-05:00",
            "pruning_weight": {"value": pounds, "unit": "lb"}, "scale_resolution": {"value": 0.25, "unit": "lb"}, **more,
        }  # fmt: skip
        answer = self.client.post(f"{self.url}/dormant-records", body, format="json")
        assert answer.status_code == 201, answer.json()

    def tell(self, vine: int, event: str, day: str) -> None:
        body = self.new(VINE_EVENT, vine=str(self.vines[vine].pk), event=event, observed_at=f"{day}T14:00:00-04:00",
                        happened_on=..., rootstock=...)  # fmt: skip
        assert self.post(VINE_EVENT, body).status_code == 201

    def inspect(self, vine: int, cordon: str, day: str = "2027-01-20", **more: Any) -> None:
        body = {"vine": str(self.vines[vine].pk), "cordon": cordon, "observed_at": f"{day}T10:00:00-05:00", **more}
        answer = self.client.post(f"{self.url}/{CORDON_INSPECTION.path}", body, format="json")
        assert answer.status_code == 201, answer.json()

    def ask(self, query: str = "") -> Any:
        return self.cast.viewer.client.get(f"{self.url}/blocks/{self.block.pk}/vine-map?{query}")

    def map(self, query: str = "season=2027") -> dict[str, Any]:
        answer = self.ask(query)
        assert answer.status_code == 200, answer.content
        body: dict[str, Any] = answer.json()
        return body

    def classes(self, query: str) -> list[str]:
        """Give the code of the class that each vine falls into."""
        told = self.map(query)
        return [told["classes"][number]["code"] for number in told["columns"]["class"]]

    def drawing(self, query: str = "season=2027") -> ET.Element:
        answer = self.ask(f"{query}&as=svg")
        assert answer.status_code == 200, answer.content
        assert answer.headers["Content-Type"] == "image/svg+xml"
        return ET.fromstring(answer.content)


@pytest.fixture
def ground(cast) -> Ground:
    return Ground(cast)


def test_every_column_has_a_value_a_vine_in_walking_order(ground):
    told = ground.map()
    assert {len(column) for column in told["columns"].values()} == {12} == {told["count"]}
    assert told["columns"]["vine"] == [str(vine.pk) for vine in ground.vines]
    assert told["rows"] == [{"row_number": 1, "places": 12, "first_place": 1, "last_place": 12}]


def test_weights_targets_and_verdicts_are_those_of_the_blocks_targets(ground):
    ground.weigh(ground.vines[10], 2.8, nodes_retained=38)
    columns = ground.map()["columns"]
    targets = ground.client.get(f"{ground.url}/blocks/{ground.block.pk}/targets?season=2027").json()["results"]
    for column, member in (
        ("pruning_weight_kg", "pruning_weight_kg"),
        ("status", "status"),
        ("target", "nodes"),
        ("nodes_retained", "nodes_retained"),
        ("difference", "difference"),
        ("outcome", "outcome"),
    ):
        assert columns[column] == [row[member] for row in targets], column
    assert columns["outcome"][10] == "too_few"


def test_weights_fall_into_fifths_whose_limits_the_legend_says(ground):
    told = ground.map("season=2027&units=us")
    assert [(each["label"], each["vines"]) for each in told["classes"]] == [
        ("up to 1.40 lb", 2),
        ("over 1.40 to 2.30 lb", 2),
        ("over 2.30 to 3.20 lb", 2),
        ("over 3.20 to 4.10 lb", 2),
        ("over 4.10 lb", 2),
        ("not weighed", 2),
        ("no vine", 0),
    ]
    assert told["columns"]["class"] == [0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 5, 5]


def test_a_block_of_one_weight_has_one_class_of_weight(cast):
    yard = Ground.__new__(Ground)
    Yard.__init__(yard, cast)
    yard.cast = cast
    for vine in yard.vines:
        yard.weigh(vine, 2)
    assert [(each["code"], each["vines"]) for each in yard.map()["classes"] if each["vines"]] == [("weight_1", 12)]


def test_a_place_without_a_vine_is_shown_as_that_whatever_was_weighed_there(ground):
    ground.tell(3, "missing", "2027-03-01")
    for show in SHOWS:
        assert ground.classes(f"season=2027&show={show}")[3] == "missing"
    told = ground.map()
    assert (told["missing"], told["columns"]["plant"][3]) == (1, "missing")
    assert told["columns"]["pruning_weight_kg"][3] is not None


def test_a_vine_replanted_lately_is_young_and_years_later_is_not(ground):
    ground.tell(3, "missing", "2025-06-01")
    ground.tell(3, "replanted", "2026-04-28")
    plants = {season: ground.map(f"season={season}")["columns"]["plant"][3] for season in (2025, 2027, 2029)}
    assert plants == {2025: "missing", 2027: "young", 2029: "standing"}
    assert ground.map("season=2027")["young"] == 1


def test_counts_are_told_apart_by_their_verdict_and_by_what_is_still_to_be_done(ground):
    record = ground.client.get(f"{ground.url}/dormant-records?vine={ground.vines[5].pk}").json()["results"][0]
    ground.client.patch(
        f"{ground.url}/dormant-records/{record['id']}", {"nodes_retained": 90}, format="json",
        headers={"If-Match": "*"},
    )  # fmt: skip
    classes = ground.classes("season=2027&show=count")
    assert (classes[5], classes[6], classes[11]) == ("too_many", "to_count", "no_target")


def test_the_newest_inspection_of_each_cordon_in_the_season_counts(ground):
    ground.inspect(0, "left", "2026-01-20", living_positions=1, blank_positions=9)  # another season
    ground.inspect(0, "left", "2027-01-10", living_positions=2, blank_positions=8)  # seen again later
    ground.inspect(0, "left", "2027-01-20", living_positions=6, blank_positions=2)
    ground.inspect(0, "right", "2027-01-20", living_positions=6, blank_positions=6)
    ground.inspect(1, "left", living_positions=5, blank_positions=0)
    ground.inspect(2, "left", living_positions=4)  # says one side of the share alone
    told = ground.map("season=2027&show=cordon")["columns"]
    assert [told[name][:3] for name in ("cordons_inspected", "living_positions", "blank_positions")] == [
        [2, 1, 1],
        [12, 5, None],
        [8, 0, None],
    ]
    assert told["blank_share_percent"][:3] == [40.0, 0.0, None]
    assert ground.classes("season=2027&show=cordon")[:4] == ["living_half", "living_all", "no_share", "not_inspected"]


def test_where_nobody_counted_positions_lengths_say_how_much_is_blank(ground):
    lengths = {"blank_length": {"value": 25, "unit": "cm"}, "cordon_length": {"value": 1, "unit": "m"}}
    ground.inspect(0, "left", **lengths)
    assert ground.map("season=2027&show=cordon")["columns"]["blank_share_percent"][0] == 25.0


def test_of_several_replacements_the_one_furthest_from_its_end_is_shown_and_closed_ones_are_not(ground):
    cases = Cases(ground)
    first = cases.open(vine=str(ground.vines[0].pk), cordon="left").json()
    cases.open(vine=str(ground.vines[0].pk), cordon="right")
    cases.move(first, "laid_down")
    given_up = cases.open(vine=str(ground.vines[1].pk)).json()
    cases.move(given_up, "given_up")
    told = ground.map("season=2027&show=cordon")
    assert (told["columns"]["open_cases"][:2], told["columns"]["open_case_step"][:2]) == ([2, None], ["noticed", None])
    assert told["with_open_case"] == 1


def test_without_a_season_it_is_the_newest_on_record_of_what_is_shown(ground):
    ground.inspect(0, "left", "2026-01-20", living_positions=1, blank_positions=9)
    assert (ground.map("")["season"], ground.map("show=cordon")["season"]) == (2027, 2026)


def test_a_block_without_a_vine_and_without_a_record_is_an_empty_map(cast):
    enter(cast.owner.caller)
    block = create_block(open_farm(cast.owner.caller, cast.farm.pk), None, {"name": "Bare"}).row
    url = f"/api/v1/farms/{cast.farm.pk}/blocks/{block.pk}/vine-map"
    told = cast.viewer.client.get(url).json()
    assert (told["season"], told["count"], told["rows"], told["columns"]["vine"]) == (None, 0, [], [])
    for show in SHOWS:
        root = ET.fromstring(cast.viewer.client.get(f"{url}?as=svg&show={show}").content)
        assert root.findtext(f"{SVG}desc") == "The block has no vines."


@pytest.mark.parametrize("show", SHOWS)
@pytest.mark.parametrize("rows_run", ["across", "down"])
def test_the_drawing_has_a_mark_for_every_vine_where_it_stands_and_says_what_it_is(ground, show, rows_run):
    ground.tell(11, "missing", "2026-06-01")
    ground.tell(1, "replanted", "2026-06-01")
    Cases(ground).open(vine=str(ground.vines[0].pk))
    ground.inspect(0, "left", living_positions=6, blank_positions=6)
    root = ground.drawing(f"season=2027&show={show}&rows_run={rows_run}")
    marks = {each.get("id"): each for each in root.iter(f"{SVG}g") if each.get("id")}
    titled = [each for each in root.iter(f"{SVG}g") if each.find(f"{SVG}title") is not None]
    assert len(titled) == 12
    along, across = ("x", "y") if rows_run == "across" else ("y", "x")
    uses = [each.find(f"{SVG}use") for each in titled]
    assert len({use.get(across) for use in uses if use is not None}) == 1
    assert len({use.get(along) for use in uses if use is not None}) == 12
    assert all(use is not None and use.get("href", "")[1:] in marks for use in uses)
    assert (titled[11].findtext(f"{SVG}title") or "").endswith("vine 12: no vine")
    assert (titled[1].findtext(f"{SVG}title") or "").endswith("young vine")
    step = titled[0].findtext(f"{SVG}text")
    assert step == ("1" if show == "cordon" else None)
    assert "no vine: 1" in (root.findtext(f"{SVG}desc") or "")


def test_the_number_of_a_step_stands_nearer_to_its_own_vine_than_to_the_next(ground):
    Cases(ground).open(vine=str(ground.vines[0].pk))
    root = ground.drawing("season=2027&show=cordon&rows_run=across")
    own, other = [each for each in root.iter(f"{SVG}g") if each.find(f"{SVG}title") is not None][:2]
    mark, beside = (float(each.find(f"{SVG}use").get("x")) for each in (own, other))
    number = own.find(f"{SVG}text")
    half, wide = 5.5, 0.7 * float(number.get("font-size"))
    left, right = float(number.get("x")), float(number.get("x")) + wide
    assert 0 < left - (mark + half) < beside - half - right


@pytest.mark.parametrize("show", SHOWS)
def test_no_two_classes_look_alike_without_their_colours(ground, show):
    root = ground.drawing(f"season=2027&show={show}")
    marks = [each for each in root.iter(f"{SVG}g") if each.get("id")]
    shapes = [re.sub(r"#[0-9a-f]{6}", "", ET.tostring(each, "unicode").split(">", 1)[1]) for each in marks]
    assert len(marks) == len(set(shapes)) >= 8


def test_what_people_named_is_text_in_the_drawing(cast):
    ground = Ground(cast)
    name = '"/><script>alert(1)</script> & more'
    cast.owner.client.patch(
        f"{ground.url}/blocks/{ground.block.pk}", {"name": name}, format="json", headers={"If-Match": "*"}
    )
    cast.owner.client.patch(
        f"{ground.url}/vines/{ground.vines[0].pk}", {"label": name}, format="json", headers={"If-Match": "*"}
    )
    root = ground.drawing()
    assert name in (root.findtext(f"{SVG}title") or "")
    assert not list(root.iter(f"{SVG}script"))
    assert any(name in (each.text or "") for each in root.iter(f"{SVG}title"))


def test_a_drawing_is_shown_and_neither_runs_loads_nor_is_kept_for_another(ground):
    headers = ground.ask("season=2027&as=svg").headers
    assert headers["Content-Security-Policy"].startswith("default-src 'none'")
    assert headers["Cache-Control"] == "private, no-cache"


@pytest.mark.parametrize("form", ["json", "svg"])
def test_a_map_that_did_not_change_is_304_and_one_that_did_is_told_anew(ground, form):
    def ask(tag: str = "") -> Any:
        path = f"{ground.url}/blocks/{ground.block.pk}/vine-map?season=2027&as={form}"
        return ground.cast.viewer.client.get(path, headers={"If-None-Match": tag} if tag else {})

    tag = ask()["ETag"]
    again = ask(tag)
    assert (again.status_code, again.content, again["ETag"]) == (304, b"", tag)
    assert ask('W/"other"').status_code == 200
    ground.weigh(ground.vines[10], 2.75)
    changed = ask(tag)
    assert changed.status_code == 200
    assert changed["ETag"] != tag
    assert "style" not in ground.ask("season=2027&as=svg").content.decode()


def test_a_block_too_large_is_asked_for_by_rows(cast, monkeypatch):
    enter(cast.owner.caller)
    opened = open_farm(cast.owner.caller, cast.farm.pk)
    block = create_block(opened, None, {"name": "Wide"}).row
    for number in (1, 2, 5):
        plant_row(opened, create_row(opened, block, None, number).row, 4)
    monkeypatch.setattr(walking, "MOST_VINES", 10)
    url = f"/api/v1/farms/{cast.farm.pk}/blocks/{block.pk}/vine-map"
    refused = cast.viewer.client.get(url)
    assert (refused.status_code, refused.json()["errors"][0]["code"]) == (422, "too_many_vines")
    part = cast.viewer.client.get(f"{url}?from_row=2&to_row=9").json()
    assert [row["row_number"] for row in part["rows"]] == [2, 5]
    assert Vine.objects.for_farm(cast.farm).filter(block=block).count() == 12


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("from_row=3&to_row=2", 422),
        ("from_row=0", 400),
        ("season=1", 400),
        ("show=colour", 400),
        ("units=stone", 400),
        ("rows_run=up", 400),
        ("as=pdf", 400),
        ("shown=weight", 400),
    ],
)
def test_what_cannot_be_asked_is_refused_by_name(ground, query, status):
    answer = ground.ask(query)
    assert answer.status_code == status
    assert query.split("=")[0] in answer.content.decode()


def test_beyond_so_many_vines_a_mark_has_no_words_of_its_own(ground, monkeypatch):
    monkeypatch.setattr("balance.drawings.vine_map.MOST_TITLES", 11)
    root = ground.drawing()
    assert len(list(root.iter(f"{SVG}title"))) == 1
    assert len(list(root.iter(f"{SVG}use"))) >= 12
