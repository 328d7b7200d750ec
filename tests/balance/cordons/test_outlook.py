"""How many cordons a farm will have to replace, over HTTP: who stands and who was followed is recounted by hand."""

from __future__ import annotations

import pytest

from balance.formulas.cordons.forecast import replacements_ahead
from tests.balance.cordons.followed import Followed
from tests.records.yard import Yard

pytestmark = pytest.mark.django_db


@pytest.fixture
def farm(cast) -> Followed:
    """Ten left cordons looked at in 2021 to 2024.

    Vines 1 to 8 stand.  Vine 9 fails in 2023, vine 10 in 2021, when it is first looked at.
    """
    followed = Followed(Yard(cast))
    for place in range(1, 9):
        for season in range(2021, 2025):
            followed.look(place, season)
    for season in (2021, 2022, 2023):
        followed.look(9, season)
    followed.look(10, 2021)
    for place, day in ((9, "2023-01-25"), (10, "2021-01-25")):
        vine = str(followed.yard.vines[place - 1].pk)
        assert followed.open(vine=vine, noticed_on=day).status_code == 201
    return followed


def test_who_stands_and_who_was_followed_is_what_was_seen(farm):
    """By hand: vines 1 to 8 over three winters each, vine 9 over two, vine 10 over none."""
    body = farm.ask("cordon-outlook", "clock=years_since_first_inspection")
    assert (body["season"], body["standing"], body["exposure"], body["failures"]) == (2024, 8, 26, 1)
    assert (body["found_failed"], body["left_out"], body["clock"]) == (1, 0, "years_since_first_inspection")
    told = [(row["age"], row["standing"], row["exposure"], row["failures"]) for row in body["hazards"]]
    # Years since the first look: in its first winter at risk, 2022, each is at 1.
    assert told[:5] == [(0, 0, 0, 0), (1, 0, 9, 0), (2, 0, 9, 1), (3, 0, 8, 0), (4, 8, 0, 0)]


def test_the_winters_are_those_of_the_formula(farm):
    body = farm.ask("cordon-outlook", "clock=years_since_first_inspection&winters=3&confidence=80")
    own = replacements_ahead([0] * 4 + [8], [0, 9, 9, 8], [0, 0, 1, 0], winters=3, confidence=80)
    assert [row["season"] for row in body["winters"]] == [2025, 2026, 2027]
    for row, each, up_to in zip(body["winters"], own.by_winter, own.up_to, strict=True):
        # The hazards of ages nobody asked about are drawn, too, so the draws differ a little.
        assert row["expected"]["value"] == pytest.approx(each.mean, rel=0.1)
        assert row["up_to"]["expected"]["value"] == pytest.approx(up_to.mean, rel=0.1)
        assert (row["low"], row["expected"]["unit"]) == (each.low, "1")
    assert body["method"]["code"] == "cordon-replacements"
    assert (body["confidence"], body["seed"], body["draws"]) == (80, 20_231, 4_000)


def test_the_same_question_is_answered_alike(farm):
    assert farm.ask("cordon-outlook") == farm.ask("cordon-outlook")


def test_nobody_says_how_old_they_are_so_the_years_since_the_first_look_count(farm):
    assert farm.ask("cordon-outlook")["clock"] == "years_since_first_inspection"
    aged = farm.ask("cordon-outlook", "clock=age")
    assert (aged["standing"], aged["left_out"], aged["exposure"]) == (0, 8, 0)
    assert {row["expected"]["value"] for row in aged["winters"]} == {None}
    assert aged["cautions"][0].startswith("8 cordons are left out")


def test_where_the_planting_is_known_age_counts(farm, cast):
    for place in range(1, 11):
        farm.event(place, "planted", "2010-04-20")
    body = farm.ask("cordon-outlook")
    assert (body["clock"], body["exposure"], body["failures"]) == ("age", 26, 1)
    told = {row["age"]: (row["standing"], row["exposure"], row["failures"]) for row in body["hazards"]}
    assert (told[12], told[13], told[14], told[15]) == ((0, 9, 0), (0, 9, 1), (0, 8, 0), (8, 0, 0))


def test_as_known_in_an_earlier_season_nothing_later_counts(farm):
    body = farm.ask("cordon-outlook", "season=2022&clock=years_since_first_inspection")
    assert (body["season"], body["standing"], body["exposure"], body["failures"]) == (2022, 9, 9, 0)


def test_a_farm_that_never_looked_gets_a_reason_and_no_number(cast):
    body = Followed(Yard(cast)).ask("cordon-outlook")
    assert [row["expected"]["value"] for row in body["winters"]] == [None] * 5
    assert "Inspect the same cordons in two seasons" in body["winters"][0]["expected"]["reason"]
    assert (body["winters"][0]["low"], body["hazards"], body["exposure"]) == (None, [], 0)


def test_one_look_at_each_is_no_history(cast):
    followed = Followed(Yard(cast))
    followed.look(1, 2024)
    body = followed.ask("cordon-outlook")
    assert (body["standing"], body["exposure"], body["winters"][0]["expected"]["value"]) == (1, 0, None)


def test_a_withdrawn_inspection_and_a_withdrawn_case_count_nowhere(farm):
    alone = farm.look(11, 2022)
    farm.look(11, 2024)
    assert farm.ask("cordon-outlook", "clock=years_since_first_inspection")["exposure"] == 28
    gone = farm.yard.client.delete(f"{farm.yard.url}/cordon-inspections/{alone}", headers={"If-Match": '"1"'})
    assert gone.status_code == 200, gone.json()
    for case in farm.yard.client.get(farm.url).json()["results"]:
        assert farm.yard.client.delete(f"{farm.url}/{case['id']}", headers={"If-Match": "*"}).status_code == 200
    body = farm.ask("cordon-outlook", "clock=years_since_first_inspection")
    assert (body["standing"], body["exposure"], body["failures"], body["found_failed"]) == (11, 26, 0, 0)


def test_another_block_has_none_of_it(farm, cast):
    sent = cast.owner.client.post(f"{farm.yard.url}/blocks", {"name": "Upper Terrace"}, format="json")
    body = farm.ask("cordon-outlook", f"block={sent.json()['id']}")
    assert (body["standing"], body["exposure"], body["winters"][0]["expected"]["value"]) == (0, 0, None)


@pytest.mark.parametrize(
    "query",
    [
        "winters=6", "winters=0", "winters=x", "confidence=100", "confidence=NaN", "confidence=1e400", "clock=sundial",
        "season=1", "block=left", "block=01991b5e-0000-7000-8000-0000000b10c1", "row=3",
    ],
)  # fmt: skip
def test_a_question_that_cannot_be_is_refused(query, cast):
    answer = cast.worker.client.get(f"/api/v1/farms/{cast.farm.pk}/cordon-outlook?{query}")
    assert answer.status_code in {400, 422}, answer.json()
    assert answer.json()["errors"]
