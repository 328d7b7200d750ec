"""What cordons have lost and how it goes on, over HTTP; every number is recounted by hand."""

from __future__ import annotations

from typing import Any

import pytest

from balance.formulas.cordons.capacity import Standing, lost_ahead, young_losses
from tests.balance.cordons.followed import Followed
from tests.records.yard import Yard

pytestmark = pytest.mark.django_db
FOOT = "[ft_i]"


def shares(body: dict[str, Any]) -> dict[str, float | None]:
    return {name: body["lost_now"][name]["value"] for name in ("lost", "blank", "dead", "filling")}


@pytest.fixture
def yard(cast) -> Followed:
    return Followed(Yard(cast))


def counted(living: int, blank: int) -> dict[str, Any]:
    return {"living_positions": living, "blank_positions": blank, "cordon_length": ..., "blank_length": ...,
            "dieback_length": ...}  # fmt: skip


def measured(length: float | None, blank: float | None, dead: float | None) -> dict[str, Any]:
    told = {"cordon_length": length, "blank_length": blank, "dieback_length": dead}
    sent = {name: ... if value is None else {"value": value, "unit": FOOT} for name, value in told.items()}
    return {"living_positions": ..., "blank_positions": ..., **sent}


@pytest.fixture
def block(yard: Followed) -> Followed:
    """Eight cordons.  1: 10 positions live.  2: 8 of 10.  3: 3 of 10, waits.  4: an arm laid down with 8 nodes.

    5: 4 ft, of it 1 ft blank and 0.5 ft dead.  6: never counted.  7: counted, and there was nothing.  8: 9 of 10.
    """
    for season in (2023, 2024):
        yard.look(1, season, **counted(10, 0))
        yard.look(2, season, **counted(8, 2))
        yard.look(3, season, **counted(3, 7))
        yard.look(4, season, **counted(5, 5))
        yard.look(5, season, **measured(4, 1, 0.5))
        yard.look(6, season, **measured(4, None, None))
        yard.look(7, season, **counted(0, 0))
        yard.look(8, season, **counted(9, 1))
    third, fourth = (str(yard.yard.vines[place].pk) for place in (2, 3))
    assert yard.open(vine=third, noticed_on="2024-01-25").status_code == 201
    laid = yard.open(vine=fourth, noticed_on="2023-01-25").json()
    assert yard.move(laid, "candidate_chosen", "2023-07-01").status_code == 201
    assert yard.move(laid, "laid_down", "2024-02-01", nodes_laid_down=8).status_code == 201
    return yard


def test_what_is_lost_now_is_what_a_count_by_hand_gives(block):
    """Cordons 1, 2, 3, 4, 5 and 8 are known.

    A grown cordon has 10 positions (the median), so 20 nodes, of which the arm carries 8.  Blank: 0 + 0.2 + 0.7 +
    0.125 + 0.1; dead: 0.125; filling: 0.6.
    """
    body = block.ask("cordon-capacity")
    assert shares(body) == {
        "lost": pytest.approx(100 * 1.85 / 6, abs=1e-5),
        "blank": pytest.approx(100 * 1.125 / 6, abs=1e-5),
        "dead": pytest.approx(100 * 0.125 / 6, abs=1e-5),
        "filling": pytest.approx(100 * 0.6 / 6, abs=1e-5),
    }
    now = body["lost_now"]
    assert (now["cordons"], now["measured"], now["not_measured"], now["waiting"], now["young_arms"]) == (8, 6, 2, 1, 1)
    assert now["without_dead_length"] == 4
    assert [(row["block_name"], row["cordons"]) for row in body["by_block"]] == [("Lower Terrace", 8)]
    assert body["by_block"][0]["lost"] == now["lost"]


def test_zero_missing_and_not_measured_are_three_things(yard):
    yard.look(1, 2024, **counted(10, 0))
    assert shares(yard.ask("cordon-capacity"))["lost"] == 0
    yard.look(2, 2024, **measured(None, None, None))
    assert (shares(yard.ask("cordon-capacity"))["lost"], yard.ask("cordon-capacity")["lost_now"]["not_measured"]) == (
        0, 1,
    )  # fmt: skip
    yard.event(2, "missing", "2024-03-01")
    assert yard.ask("cordon-capacity")["lost_now"]["cordons"] == 1


def test_without_a_measured_cordon_there_is_a_reason_and_no_number(yard):
    yard.look(1, 2024, **measured(4, None, None))
    body = yard.ask("cordon-capacity", "pace=2&limit_percent=10")
    assert shares(body) == dict.fromkeys(("lost", "blank", "dead", "filling"))
    assert "No cordon was measured" in body["lost_now"]["lost"]["reason"]
    assert (body["path"]["winters"], body["smallest_pace"]["in_every_winter"]["value"]) == ([], None)
    assert body["path"]["reason"] == body["smallest_pace"]["in_every_winter"]["reason"]


def test_a_farm_with_nothing_on_record_is_answered(yard):
    body = yard.ask("cordon-capacity", "limit_percent=10")
    assert (body["lost_now"]["cordons"], body["by_block"], body["path"]["winters"]) == (0, [], [])


def test_the_newest_inspection_counts_and_a_withdrawn_one_does_not(yard):
    yard.look(1, 2023, **counted(5, 5))
    newest = yard.look(1, 2024, **counted(10, 0))
    assert shares(yard.ask("cordon-capacity"))["lost"] == 0
    assert shares(yard.ask("cordon-capacity", "season=2023"))["lost"] == 50
    url = f"{yard.yard.url}/cordon-inspections/{newest}"
    assert yard.yard.client.delete(url, headers={"If-Match": '"1"'}).status_code == 200
    assert shares(yard.ask("cordon-capacity"))["lost"] == 50


def test_an_arm_fills_from_season_to_season_and_lacks_nothing_once_it_bears(block):
    """8 of 20 nodes at first, so it lacks 60 %, a year later 30 %; 30 % also later, for as long as it only fills."""
    lacks = [
        6 * block.ask("cordon-capacity", f"season={season}")["lost_now"]["filling"]["value"]
        for season in (2024, 2025, 2027)
    ]
    assert lacks == pytest.approx([60, 30, 30], abs=1e-4)
    assert 6 * block.ask("cordon-capacity", "season=2025&years_to_full=3")["lost_now"]["filling"]["value"] == (
        pytest.approx(40, abs=1e-4)
    )
    for case in block.yard.client.get(block.url).json()["results"]:
        if case["step"] == "laid_down":
            assert block.move(case, "bearing", "2026-02-01").status_code == 201
    body = block.ask("cordon-capacity", "season=2026")
    assert shares(body)["filling"] == 0
    assert shares(body)["lost"] == pytest.approx(100 * 1.25 / 6, abs=1e-5)  # the rest as it was; this one lacks nothing


def test_where_nobody_said_how_many_nodes_the_vigour_of_the_vine_decides(yard):
    """10 of 20 nodes on a weak vine, 15 of 20 on a vigorous one."""
    yard.look(1, 2024, **counted(10, 0))
    case = yard.open(noticed_on="2024-01-25").json()
    assert yard.move(case, "laid_down", "2024-02-01").status_code == 201
    assert shares(yard.ask("cordon-capacity"))["filling"] == 50
    assert shares(yard.ask("cordon-capacity", "vigour=vigorous"))["filling"] == 25


def test_of_a_part_of_a_cordon_only_what_was_blank_is_filled(yard):
    yard.look(1, 2024, **counted(6, 4))
    case = yard.open(noticed_on="2024-01-25", scope="part_of_cordon").json()
    assert yard.move(case, "laid_down", "2024-02-01", nodes_laid_down=10).status_code == 201
    assert shares(yard.ask("cordon-capacity")) == {"lost": 20, "blank": 0, "dead": 0, "filling": 20}


def test_a_whole_vine_that_is_renewed_takes_all_its_cordons_with_it(yard):
    for cordon in ("left", "right"):
        yard.look(1, 2024, cordon, **counted(10, 0))
    case = yard.open(noticed_on="2024-01-25", scope="vine", cordon=...).json()
    assert yard.move(case, "laid_down", "2024-02-01", nodes_laid_down=5).status_code == 201
    body = yard.ask("cordon-capacity")
    assert (body["lost_now"]["young_arms"], body["lost_now"]["cordons"], shares(body)["filling"]) == (2, 2, 75)


def test_feet_and_metres_of_one_cordon_lose_the_same(yard):
    lengths = {name: {"value": value, "unit": "m"} for name, value in
               (("cordon_length", 1.2192), ("blank_length", 0.3048), ("dieback_length", 0.1524))}  # fmt: skip
    yard.look(1, 2024, **measured(4, 1, 0.5))
    in_feet = shares(yard.ask("cordon-capacity"))
    yard.look(1, 2025, **measured(None, None, None) | lengths)
    assert shares(yard.ask("cordon-capacity")) == in_feet


def test_the_path_is_the_recursion_from_how_the_cordons_stand(block):
    """Of 8 cordons one waits and lacks 0.7, one is young; the six others lack 0, 0.2, 0.25, 0.1 where known."""
    body = block.ask("cordon-capacity", "pace=1&winters=3&limit_percent=30")
    path = body["path"]
    outlook = block.ask("cordon-outlook", "winters=3&clock=years_since_first_inspection")
    shares_failing = [row["expected"]["value"] / outlook["standing"] for row in outlook["winters"]]
    standing = Standing(8, 1, 0.7, (1, 0), young_losses(0.5), 0.55 / 4)
    own = lost_ahead(standing, shares_failing, [1])
    assert path["lost_of_grown"]["value"] == pytest.approx(13.75)
    assert [row["lost"]["value"] for row in path["winters"]] == pytest.approx(100 * own.lost[:, 0], abs=1e-5)
    assert [row["waiting"] for row in path["winters"]] == pytest.approx(own.waiting[:, 0])
    assert path["winters"][0]["laid_down"] == 1
    assert [row["season"] for row in path["winters"]] == [2025, 2026, 2027]
    assert all(row["low"] <= row["lost"]["value"] <= row["high"] for row in path["winters"])


def test_the_smallest_pace_keeps_the_limit_and_one_less_does_not(block):
    for limit in (20, 25, 30, 40):
        found = block.ask("cordon-capacity", f"winters=4&limit_percent={limit}")["smallest_pace"]["in_every_winter"]
        pace = found["value"]
        if pace is None:
            assert found["reason"].startswith("No pace keeps it")
            continue
        for tried, kept in ((int(pace), True), (int(pace) - 1, False)):
            if tried >= 0:
                rows = block.ask("cordon-capacity", f"winters=4&pace={tried}")["path"]["winters"]
                assert (max(row["lost"]["value"] for row in rows) <= limit + 1e-6) is kept


def test_a_limit_below_what_replacing_can_reach_gets_a_reason_and_without_a_limit_there_is_no_pace(block):
    impossible = block.ask("cordon-capacity", "limit_percent=0")["smallest_pace"]["in_every_winter"]
    assert (impossible["value"], impossible["reason"][:17]) == (None, "No pace keeps it:")
    unasked = block.ask("cordon-capacity")["smallest_pace"]
    assert unasked["limit"]["value"] is None and "no source prints one" in unasked["limit"]["reason"]


def test_the_number_of_cordons_makes_no_more_queries(block, django_assert_max_num_queries):
    with django_assert_max_num_queries(16):
        block.ask("cordon-capacity", "pace=2&limit_percent=10")


@pytest.mark.parametrize(
    "query",
    [
        "pace=-1", "pace=1.5", "pace=1e300", "winters=11", "limit_percent=101", "limit_percent=NaN", "years_to_full=0",
        "vigour=tired", "block=01991b5e-0000-7000-8000-0000000b10c1", "season=99999",
    ],
)  # fmt: skip
def test_a_question_that_cannot_be_is_refused(query, cast):
    answer = cast.worker.client.get(f"/api/v1/farms/{cast.farm.pk}/cordon-capacity?{query}")
    assert answer.status_code in {400, 422}, answer.json()
    assert answer.json()["errors"]
