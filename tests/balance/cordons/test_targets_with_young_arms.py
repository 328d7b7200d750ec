"""Targets know about young arms: by the season, from the steps, for one vine and for its block; nothing is pushed."""

from __future__ import annotations

from typing import Any

import pytest

from records.kinds.definitions import CORDON_INSPECTION
from records.models import Cultivar
from tests.records.yard import Yard

pytestmark = pytest.mark.django_db


class Renewed:
    """A yard whose first vine gets its left cordon renewed, and is weighed at 2.8 lb in any season: target 48."""

    def __init__(self, yard: Yard, cast: Any) -> None:
        self.yard, self.cast = yard, cast
        self.change_block(cultivar="concord", training="bilateral_cordon")

    def change_block(self, **more: Any) -> None:
        url = f"{self.yard.url}/blocks/{self.yard.block.pk}"
        answer = self.cast.owner.client.patch(url, more, format="json", headers={"If-Match": "*"})
        assert answer.status_code == 200, answer.json()

    def case(self, *steps: tuple[str, str, dict[str, Any]] | tuple[str, str], **more: Any) -> dict[str, Any]:
        body = {"vine": self.vine(), "scope": "cordon", "cordon": "left", "noticed_on": "2024-01-17", **more}
        sent = {name: value for name, value in body.items() if value is not ...}
        opened = self.yard.client.post(f"{self.yard.url}/cordon-cases", sent, format="json")
        assert opened.status_code == 201, opened.json()
        case: dict[str, Any] = opened.json()
        for step in steps:
            self.move(case, *step)
        return case

    def move(self, case: dict[str, Any], step: str, day: str, more: dict[str, Any] | None = None) -> None:
        url = f"{self.yard.url}/cordon-cases/{case['id']}/steps"
        body = {"step": step, "happened_on": day, **(more or {})}
        answer = self.yard.client.post(url, body, format="json", headers={"If-Match": "*"})
        assert answer.status_code == 201, answer.json()

    def vine(self, number: int = 0) -> str:
        return str(self.yard.vines[number].pk)

    def weigh(self, season: int = 2025, number: int = 0, **more: Any) -> dict[str, Any]:
        body = {
            "vine": self.vine(number), "observed_at": f"{season}-02-10T10:02:00-05:00",
            "pruning_weight": {"value": 2.8, "unit": "lb"}, "scale_resolution": {"value": 0.25, "unit": "lb"}, **more,
        }  # fmt: skip
        answer = self.yard.client.post(f"{self.yard.url}/dormant-records", body, format="json")
        assert answer.status_code == 201, answer.json()
        told: dict[str, Any] = answer.json()
        return told

    def young(self, record: dict[str, Any]) -> Any:
        return self.read(record)["target"]["young_arms"]

    def read(self, record: dict[str, Any]) -> dict[str, Any]:
        body: dict[str, Any] = self.yard.client.get(f"{self.yard.url}/dormant-records/{record['id']}").json()
        return body

    def inspect(self, cordon: str, season: int = 2024) -> None:
        day = f"{season}-07-01T10:00:00-04:00"
        body = self.yard.new(CORDON_INSPECTION, cordon=cordon, season=season, observed_at=day)
        answer = self.yard.post(CORDON_INSPECTION, body)
        assert answer.status_code == 201, answer.json()

    def block(self, season: int = 2025, query: str = "") -> dict[str, Any]:
        answer = self.yard.client.get(f"{self.yard.url}/blocks/{self.yard.block.pk}/targets?season={season}{query}")
        assert answer.status_code == 200, answer.json()
        body: dict[str, Any] = answer.json()
        return body


@pytest.fixture
def renewed(cast: Any) -> Renewed:
    assert Cultivar.objects.filter(code="concord").exists()
    return Renewed(Yard(cast), cast)


LAID: tuple[str, str, dict[str, Any]] = ("laid_down", "2025-02-03", {"nodes_laid_down": 10})


def test_a_young_arm_keeps_what_was_laid_down_and_the_rest_of_its_share_is_shown_as_lost(renewed):
    renewed.case(LAID)
    target = renewed.weigh()["target"]
    told = target["young_arms"]
    assert (target["nodes"], told["target"], told["kept"], told["lost"]) == (48, 48, 34, 14)
    assert (told["cordons"], told["cordons_known_from"]) == (2, "training")
    (arm,) = told["arms"]
    assert (arm["cordon"], arm["share"], arm["carries"], arm["kept"], arm["lost"]) == ("left", 24, 10, 10, 14)
    assert (told["grown_share"], told["grown_share_if_pushed"]) == (24, 38)
    assert "E-2774" in told["warning"]
    assert "North Carolina" in told["method"]["source"]
    assert "and not pushed onto the rest of the vine" in told["sentence"]


def test_without_a_young_arm_the_member_is_null(renewed):
    assert renewed.weigh()["target"]["young_arms"] is None
    renewed.case(("candidate_chosen", "2024-07-08"))
    assert renewed.young(renewed.weigh(2026)) is None


def test_whoever_kept_the_reduced_number_is_not_told_too_few_without_a_word(renewed):
    renewed.case(LAID)
    verdict = renewed.weigh(nodes_retained=34)["verdict"]
    assert (verdict["outcome"], verdict["difference"], verdict["slips"]) == ("too_few", -14, [])
    assert (verdict["young_arms"]["nodes"], verdict["young_arms"]["outcome"]) == (34, "within_tolerance")
    assert "the arm explains what the target misses" in verdict["sentence"]


def test_whoever_kept_the_whole_target_is_told_what_was_pushed_onto_the_rest(renewed):
    renewed.case(LAID)
    verdict = renewed.weigh(nodes_retained=48)["verdict"]
    assert (verdict["outcome"], verdict["young_arms"]["outcome"]) == ("within_tolerance", "too_many")
    assert "pushed onto the rest of the vine" in verdict["sentence"]


def test_a_slip_that_the_arm_does_not_explain_is_still_named(renewed):
    renewed.case(LAID)
    verdict = renewed.weigh(nodes_retained=30)["verdict"]
    assert verdict["young_arms"]["outcome"] == "too_few"
    assert [slip["code"] for slip in verdict["slips"]] == ["only_the_first_unit"]


def test_an_arm_is_young_from_the_winter_in_which_it_was_laid_down_until_the_one_in_which_it_bears(renewed):
    case = renewed.case(LAID, ("filling", "2025-08-01"))
    records = {season: renewed.weigh(season) for season in (2023, 2024, 2025, 2026)}
    young = {season: renewed.young(record) for season, record in records.items()}
    assert [season for season, told in young.items() if told] == [2025, 2026]
    assert (young[2025]["arms"][0]["first_winter"], young[2026]["arms"][0]["first_winter"]) == (True, False)
    renewed.move(case, "bearing", "2026-09-20")
    assert [season for season, record in records.items() if renewed.young(record)] == [2025, 2026]


@pytest.mark.parametrize(
    ("step", "day", "young_in"),
    [
        ("bearing", "2026-02-20", [2025]),
        ("bearing", "2026-09-20", [2025, 2026]),
        ("failed", "2025-09-20", [2025]),
        ("candidate_chosen", "2025-02-03", []),
        ("given_up", "2025-12-01", [2025]),
    ],
)
def test_what_came_after_counts_from_its_own_winter_on(step, day, young_in, renewed):
    renewed.case(LAID, (step, day))
    assert [season for season in (2024, 2025, 2026) if renewed.young(renewed.weigh(season))] == young_in


def test_an_arm_laid_down_in_summer_was_not_there_in_the_winter_before(renewed):
    renewed.case(("laid_down", "2025-07-03"))
    assert [season for season in (2025, 2026) if renewed.young(renewed.weigh(season))] == [2026]


def test_an_arm_that_bore_and_is_filled_again_is_young_again(renewed):
    renewed.case(LAID, ("bearing", "2025-09-20"), ("filling", "2026-02-10"))
    assert [season for season in (2025, 2026) if renewed.young(renewed.weigh(season))] == [2025, 2026]


def test_nodes_told_later_are_those_of_the_arm_that_was_laid_down(renewed):
    renewed.case(("laid_down", "2025-02-03"), ("filling", "2025-08-01", {"nodes_laid_down": 7}))
    assert renewed.young(renewed.weigh(2025))["arms"][0]["carries"] == 7


def test_nodes_of_an_arm_that_failed_are_not_those_of_the_next(renewed):
    renewed.case(LAID, ("failed", "2025-08-01"), ("laid_down", "2026-02-03", {"nodes_laid_down": 6}))
    carried = [renewed.young(renewed.weigh(season))["arms"][0]["carries"] for season in (2025, 2026)]
    assert carried == [10, 6]


def test_a_withdrawn_case_counts_nowhere(renewed):
    case = renewed.case(LAID)
    record = renewed.weigh()
    gone = renewed.yard.client.delete(f"{renewed.yard.url}/cordon-cases/{case['id']}", headers={"If-Match": "*"})
    assert gone.status_code == 200
    assert renewed.young(record) is None
    assert renewed.block()["young_arms"] is None


def test_where_the_number_of_cordons_is_not_known_there_is_a_reason_and_no_number(renewed):
    renewed.change_block(training="not_stated")
    renewed.case(LAID)
    record = renewed.weigh(nodes_retained=34)
    told = record["target"]["young_arms"]
    assert (told["kept"], told["lost"], told["cordons"], told["cordons_known_from"]) == (None, None, None, None)
    assert "How many cordons" in told["reason"]
    assert record["verdict"]["young_arms"]["outcome"] is None
    assert "may be its doing" in record["verdict"]["sentence"]


def test_the_cordons_looked_at_in_the_newest_season_count_where_they_make_up_a_frame(renewed):
    renewed.change_block(training="not_stated")
    renewed.case(LAID)
    record = renewed.weigh()
    renewed.inspect("left", 2023)
    assert renewed.young(record)["cordons"] is None
    renewed.inspect("right", 2024)
    assert (renewed.young(record)["cordons"], renewed.young(record)["cordons_known_from"]) == (2, "inspections")


def test_part_of_a_cordon_gets_no_number_and_a_whole_vine_keeps_its_one_arm(renewed):
    renewed.case(LAID, scope="part_of_cordon")
    assert "part of a cordon" in renewed.weigh()["target"]["young_arms"]["reason"]
    renewed.case(LAID, vine=renewed.vine(1), scope="vine", cordon=...)
    told = renewed.weigh(number=1)["target"]["young_arms"]
    assert (told["kept"], told["lost"], told["arms"][0]["cordon"]) == (10, 38, "")


def test_the_block_lists_its_young_arms_as_each_record_tells_them(renewed):
    renewed.case(LAID)
    renewed.case(("laid_down", "2025-02-03"), vine=renewed.vine(2), cordon="right")
    records = [renewed.weigh(number=number, nodes_retained=34) for number in (0, 1, 2)]
    body = renewed.block()
    told = body["young_arms"]
    assert (told["count"], told["lost"], told["without_number"], body["lost_nodes"]) == (2, 28, 0, 28)
    rows = body["results"]
    assert [row["young_arms"] for row in rows] == [0, None, 1] + [None] * 9
    for position, record in ((0, records[0]), (1, records[2])):
        own, alone = told["vines"][position], record["target"]["young_arms"]
        assert own["vine"] == record["vine"]
        assert {name: own[name] for name in own if name in alone} == {
            name: alone[name] for name in alone if name not in {"method", "steps"}
        }
        assert own["explains"] == record["verdict"]["young_arms"]


def test_a_vine_without_a_target_counts_as_without_a_number(renewed):
    renewed.case(LAID)
    renewed.weigh(number=1)
    told = renewed.block()["young_arms"]
    assert (told["count"], told["lost"], told["without_number"]) == (1, 0, 1)
    assert told["vines"][0]["explains"] is None


def test_a_block_without_young_arms_is_told_as_before(renewed):
    renewed.weigh()
    body = renewed.block()
    assert (body["young_arms"], body["lost_nodes"]) == (None, 0)
    assert all("young_arms" not in row for row in body["results"])


def test_only_the_young_arms_of_the_row_asked_for_are_listed(renewed):
    renewed.case(LAID)
    renewed.weigh()
    assert renewed.block(query="&row_number=1")["young_arms"]["count"] == 1
    assert renewed.block(query="&row_number=2")["young_arms"] is None


def test_young_arms_take_two_queries_more_for_a_whole_block(renewed, django_assert_max_num_queries):
    for number in range(12):
        renewed.case(LAID, vine=renewed.vine(number))
    with django_assert_max_num_queries(18):
        assert renewed.block()["young_arms"]["count"] == 12


def ask(cast: Any, **more: Any) -> Any:
    body = {"pruning_weight": {"value": 2.8, "unit": "lb"}, "cultivar": "concord", **more}
    return cast.nobody.post("/api/v1/balance/targets", body, format="json")


def test_an_app_without_records_sends_its_young_arms(cast):
    arms = [{"cordon": "left", "nodes_laid_down": 12, "vigour": "weak"}]
    body = ask(cast, cordons=2, young_arms=arms, nodes_retained=34).json()
    told = body["target"]["young_arms"]
    assert (told["kept"], told["lost"], told["cordons_known_from"]) == (34, 14, "request")
    assert body["verdict"]["young_arms"]["outcome"] == "within_tolerance"
    assert ask(cast, young_arms=arms).json()["target"]["young_arms"]["kept"] is None
    assert ask(cast, cordons=2).json()["target"]["young_arms"] is None


@pytest.mark.parametrize(
    ("more", "status", "pointer"),
    [
        ({"young_arms": [{"cordon": "left"}, {"cordon": "left"}]}, 422, "#/young_arms/1/cordon"),
        ({"young_arms": [{"cordon": "middle"}]}, 400, "#/young_arms/0/cordon"),
        ({"young_arms": [{"nodes_laid_down": 201}]}, 400, "#/young_arms/0/nodes_laid_down"),
        ({"young_arms": [{}] * 11}, 400, "#/young_arms"),
        ({"cordons": 0}, 400, "#/cordons"),
    ],
)
def test_young_arms_that_cannot_be_are_named(more, status, pointer, cast):
    answer = ask(cast, **more)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (status, pointer), answer.json()


def test_who_is_not_let_in_sees_no_young_arms(renewed, cast):
    renewed.case(LAID)
    renewed.weigh()
    answer = cast.stranger.client.get(f"{renewed.yard.url}/blocks/{renewed.yard.block.pk}/targets?season=2025")
    assert answer.status_code == 404
