"""How long cases take and what came of each arm, against a recount by hand; and the timeline of a vine and a cordon."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from records.kinds.definitions import CORDON_INSPECTION, DORMANT_RECORD, HARVEST_RECORD, VINE_EVENT
from records.models import Block, CordonInspection, Vine
from tests.balance.cordons.test_cases import Cases
from tests.records.yard import Yard

pytestmark = pytest.mark.django_db
TODAY = "today"


@pytest.fixture
def cases(cast) -> Cases:
    return Cases(Yard(cast))


def followed(cases: Cases, vine: int, *steps: Any, cordon: str = "left") -> dict[str, Any]:
    """Open a case with its first day, and take each further step: (step, day, origin or nothing)."""
    (_, noticed), *further = steps
    opened = cases.open(vine=str(cases.yard.vines[vine].pk), cordon=cordon, noticed_on=noticed)
    assert opened.status_code == 201, opened.json()
    case: dict[str, Any] = opened.json()
    for step, day, *origin in further:
        more: dict[str, Any] = {"candidate": {"springs_from": origin[0]}} if origin else {}
        answer = cases.move(case, step, day, **more)
        assert answer.status_code == 201, answer.json()
    return case


@pytest.fixture
def told(cases: Cases) -> Cases:
    """Six cases of the invented yard, and one that was withdrawn.

    Arms: head bears; trunk fails, and its second from the head bears; head given up while it lies; cordon_base taken
    back for a trunk shoot that is under way; nobody said where: under way.
    """
    followed(cases, 0, ("noticed", "2020-01-01"), ("candidate_chosen", "2020-07-01", "head"),
             ("laid_down", "2021-02-01"), ("filling", "2021-08-01"), ("bearing", "2022-09-01"))  # fmt: skip
    followed(cases, 1, ("noticed", "2020-01-01"), ("laid_down", "2020-02-01", "trunk"), ("failed", "2020-08-01"),
             ("candidate_chosen", "2020-08-11", "head"), ("laid_down", "2021-02-01"), ("bearing", "2023-09-01"),
             ("failed", "2024-09-01"))  # fmt: skip
    followed(cases, 2, ("noticed", "2021-01-01"), ("candidate_chosen", "2021-07-01", "head"),
             ("laid_down", "2022-02-01"), ("given_up", "2022-06-01"))  # fmt: skip
    followed(cases, 3, ("noticed", "2021-01-01"), ("laid_down", "2021-02-01", "cordon_base"),
             ("candidate_chosen", "2021-03-01", "trunk"), ("laid_down", "2022-03-01"))  # fmt: skip
    followed(cases, 4, ("noticed", "2022-01-01"), ("laid_down", "2022-01-31"), ("bearing", "2024-01-01"),
             ("filling", "2024-06-01"))  # fmt: skip
    followed(cases, 5, ("noticed", "2023-01-01"))
    mistake = followed(cases, 6, ("noticed", "2020-01-01"), ("laid_down", "2020-01-02", "head"),
                       ("failed", "2020-01-03"))  # fmt: skip
    gone = cases.yard.client.delete(f"{cases.url}/{mistake['id']}", headers={"If-Match": "*"})
    assert gone.status_code == 200
    return cases


def ask(cases: Cases, what: str, query: str = "") -> dict[str, Any]:
    answer = cases.yard.client.get(f"{cases.yard.url}/{what}?{query}")
    assert answer.status_code == 200, answer.json()
    body: dict[str, Any] = answer.json()
    return body


def days(first: str, last: str) -> int:
    end = (
        datetime.now(UTC).astimezone(ZoneInfo("America/New_York")).date() if last == TODAY else date.fromisoformat(last)
    )
    return (end - date.fromisoformat(first)).days


def counts(group: dict[str, Any]) -> tuple[int, ...]:
    names = ("attempts", "came_to_bear", "lost_again", "failed", "given_up", "taken_back", "under_way")
    return tuple(group[name] for name in names)


def test_attempts_by_origin_are_what_a_recount_by_hand_finds(told):
    groups = {group["group"]: group for group in ask(told, "cordon-successes")["results"]}
    assert {name: counts(group) for name, group in groups.items()} == {
        "head": (3, 2, 1, 1, 1, 0, 0),
        "cordon_base": (1, 0, 0, 0, 0, 1, 0),
        "trunk": (2, 0, 0, 1, 0, 0, 1),
        "not_said": (1, 0, 0, 0, 0, 0, 1),
    }
    assert (groups["cordon_base"]["share"]["value"], groups["cordon_base"]["share"]["n"]) == (None, 0)
    assert "No attempt has ended" in groups["not_said"]["share"]["reason"]


def test_a_share_of_success_has_its_exact_interval(told):
    """Clopper and Pearson (1934, from memory) for 0 of 1: 0 to 97.5 %; for 2 of 3: as statsmodels computes it."""
    from statsmodels.stats.proportion import proportion_confint

    groups = {group["group"]: group["share"] for group in ask(told, "cordon-successes")["results"]}
    low, high = proportion_confint(2, 3, alpha=0.05, method="beta")
    head = groups["head"]
    assert head["value"] == pytest.approx(200 / 3)
    assert (head["low"], head["high"]) == pytest.approx((100 * low, 100 * high))
    assert (groups["trunk"]["value"], groups["trunk"]["low"], groups["trunk"]["high"]) == (0, 0, 97.5)
    narrow = {group["group"]: group["share"] for group in ask(told, "cordon-successes", "confidence=50")["results"]}
    assert narrow["head"]["high"] < head["high"]
    assert ask(told, "cordon-successes", "confidence=99.9")["confidence"] == 99.9


def test_successes_are_told_by_cultivar_rootstock_block_or_together(told):
    farm, block = told.yard.block.farm_id, told.yard.block
    Block.objects.for_farm(farm).filter(pk=block.pk).update(cultivar="concord", rootstock="own roots")
    Vine.objects.for_farm(farm).filter(pk=told.yard.vines[1].pk).update(rootstock="3309 C")

    def by(what: str) -> dict[tuple[str, str], tuple[int, ...]]:
        results = ask(told, "cordon-successes", f"by={what}")["results"]
        return {(group["group"], group["label"]): counts(group) for group in results}

    together = (7, 2, 1, 2, 1, 1, 2)
    assert by("none") == {("", ""): together}
    assert by("cultivar") == {("concord", "Concord"): together}
    assert by("block") == {(str(block.pk), "Lower Terrace"): together}
    assert by("rootstock") == {
        ("3309 C", "3309 C"): (2, 1, 1, 1, 0, 0, 0),
        ("own roots", "own roots"): (5, 1, 0, 1, 1, 1, 2),
    }


def test_a_step_back_from_bearing_is_under_way_again_and_then_bears_or_fails(cases):
    case = followed(cases, 0, ("noticed", "2020-01-01"), ("laid_down", "2020-02-01"), ("bearing", "2021-01-01"))
    told = []
    for step, day in (("filling", "2021-02-01"), ("bearing", "2022-01-01"), ("filling", "2022-02-01"),
                      ("failed", "2022-03-01")):  # fmt: skip
        assert cases.move(case, step, day).status_code == 201
        told.append(counts(ask(cases, "cordon-successes")["results"][0]))
    assert told == [(1, 0, 0, 0, 0, 0, 1), (1, 1, 0, 0, 0, 0, 0), (1, 0, 0, 0, 0, 0, 1), (1, 0, 0, 1, 0, 0, 0)]


def test_days_at_each_step_are_what_a_recount_by_hand_finds(told):
    (group,) = ask(told, "cordon-durations")["results"]
    steps = {each["step"]: each for each in group["steps"]}
    # noticed: 182, 31, 181, 31 and 30 days are over; one waits since 2023-01-01, longer than any of these.
    noticed = steps["noticed"]
    assert (noticed["count"], noticed["over"], noticed["waiting"]) == (6, 5, 1)
    assert [noticed[name]["value"] for name in ("lower_quartile", "median", "upper_quartile")] == [31, 31, 182]
    assert noticed["followed_by"] == [
        {"step": "candidate_chosen", "count": 2, "median_days": 181.5},
        {"step": "laid_down", "count": 3, "median_days": 31},
    ]
    # laid down: seven times; one waits since 2022-03-01.
    over = sorted(
        days(first, last)
        for first, last in (
            ("2021-02-01", "2021-08-01"), ("2020-02-01", "2020-08-01"), ("2021-02-01", "2023-09-01"),
            ("2022-02-01", "2022-06-01"), ("2021-02-01", "2021-03-01"), ("2022-01-31", "2024-01-01"),
        )
    )  # fmt: skip
    laid = steps["laid_down"]
    assert (laid["count"], laid["waiting"]) == (7, 1)
    assert [laid[name]["value"] for name in ("lower_quartile", "median", "upper_quartile")] == [
        over[1],
        over[3],
        over[5],
    ]
    assert (steps["failed"]["count"], steps["failed"]["over"]) == (2, 1)
    assert {each["step"] for each in laid["followed_by"]} == {
        "candidate_chosen", "filling", "bearing", "failed", "given_up",
    }  # fmt: skip


def test_from_noticed_to_bearing_is_by_kaplan_and_meier_as_lifelines_computes_it(told):
    from lifelines import KaplanMeierFitter
    from lifelines.utils import qth_survival_time

    waits = [
        (days("2020-01-01", "2022-09-01"), 1),
        (days("2020-01-01", "2023-09-01"), 1),
        (days("2021-01-01", "2022-06-01"), 0),  # given up
        (days("2021-01-01", TODAY), 0),
        (days("2022-01-01", "2024-01-01"), 1),
        (days("2023-01-01", TODAY), 0),
    ]
    curve = KaplanMeierFitter().fit(*zip(*waits, strict=True))
    (group,) = ask(told, "cordon-durations")["results"]
    found = group["to_bearing"]
    assert (found["count"], found["over"], found["waiting"], found["given_up"]) == (6, 3, 3, 1)
    assert found["median"]["value"] == qth_survival_time(0.5, curve.survival_function_)
    assert found["lower_quartile"]["value"] == qth_survival_time(0.75, curve.survival_function_)
    assert found["upper_quartile"]["value"] is None
    assert "still wait" in found["upper_quartile"]["reason"]


def test_durations_by_origin_count_a_wait_with_the_candidate_known_when_it_began(told):
    groups = {group["group"]: group for group in ask(told, "cordon-durations", "by=origin")["results"]}
    laid = {
        name: next(each["count"] for each in group["steps"] if each["step"] == "laid_down")
        for name, group in groups.items()
    }
    assert laid == {"head": 3, "cordon_base": 1, "trunk": 2, "not_said": 1}
    assert {name: group["cases"] for name, group in groups.items()} == {
        "head": 3, "cordon_base": 0, "trunk": 1, "not_said": 2,
    }  # fmt: skip


def test_a_farm_without_a_case_has_no_group_and_another_block_is_named(cases):
    for what in ("cordon-durations", "cordon-successes"):
        assert ask(cases, what, "by=none")["results"] == []
        answer = cases.yard.client.get(f"{cases.yard.url}/{what}?block={cases.yard.vines[0].pk}")
        assert (answer.status_code, answer.json()["errors"][0]["code"]) == (422, "no_such_block")
        assert cases.yard.client.get(f"{cases.yard.url}/{what}?by=weather").status_code == 400


@pytest.mark.parametrize("what", ["cordon-durations?by=cultivar", "cordon-successes?by=rootstock"])
def test_many_cases_take_as_many_queries_as_one(what, told, django_assert_max_num_queries):
    with django_assert_max_num_queries(12):
        assert told.yard.client.get(f"{told.yard.url}/{what}").status_code == 200


# --- The timeline ------------------------------------------------------------------------------------------


@pytest.fixture
def lived(cases: Cases) -> Cases:
    """One vine: planted, looked at in two seasons, weighed, picked, its left cordon replaced, its right one looked at."""
    yard = cases.yard

    def sent(kind: Any, **more: Any) -> dict[str, Any]:
        answer = yard.post(kind, yard.new(kind, growth_stage=..., **more))
        assert answer.status_code == 201, answer.json()
        body: dict[str, Any] = answer.json()
        return body

    sent(VINE_EVENT, event="planted", happened_on="2012-04-20", observed_at="2024-01-15T10:00:00-05:00",
         rootstock="3309 C", trained_as=...)  # fmt: skip
    for day, living in (("2024-01-16", 7), ("2024-03-02", 6), ("2026-01-20", 3)):
        sent(CORDON_INSPECTION, cordon="left", observed_at=f"{day}T09:00:00-05:00", living_positions=living)
    sent(CORDON_INSPECTION, cordon="right", observed_at="2024-01-16T09:05:00-05:00", living_positions=9)
    sent(DORMANT_RECORD, observed_at="2025-01-16T10:00:00-05:00", nodes_retained=42,
         pruning_weight={"value": 1250, "unit": "g"}, scale_resolution=...)  # fmt: skip
    sent(HARVEST_RECORD, block=..., vine=str(yard.vines[0].pk), scope="vine", picking=1, season=2025,
         observed_at="2025-09-20T10:00:00-04:00", **{"yield": {"value": 8.25, "unit": "kg"}},
         marketable_yield=..., vines_picked=1, clusters=40)  # fmt: skip
    followed(cases, 0, ("noticed", "2024-03-02"), ("candidate_chosen", "2024-07-08", "head"),
             ("laid_down", "2025-02-03"))  # fmt: skip
    return cases


def timeline(cases: Cases, query: str = "") -> dict[str, Any]:
    return ask(cases, f"vines/{cases.yard.vines[0].pk}/timeline", query)


def test_a_vine_is_told_in_the_order_in_which_it_lived(lived):
    body = timeline(lived)
    assert [(entry["date"], entry["kind"], entry["cordon"]) for entry in body["results"]] == [
        ("2012-04-20", "vine_event", None),
        ("2024-01-16", "cordon_inspection", "left"),
        ("2024-01-16", "cordon_inspection", "right"),
        ("2024-03-02", "cordon_inspection", "left"),
        ("2024-03-02", "cordon_step", "left"),
        ("2024-07-08", "cordon_step", "left"),
        ("2025-01-16", "dormant_record", None),
        ("2025-02-03", "cordon_step", "left"),
        ("2025-09-20", "harvest_record", None),
        ("2026-01-20", "cordon_inspection", "left"),
    ]
    assert body["count"] == 10
    sentences = [entry["sentence"] for entry in body["results"]]
    assert sentences[0] == "Planted, on 3309 C."
    assert sentences[1].startswith("Left cordon: 7 living positions")
    assert sentences[5] == "Left cordon: a candidate shoot is chosen, a shoot from the head."
    assert (sentences[6], sentences[8]) == (
        "Pruned: 1.25 kg of prunings, 42 nodes kept.",
        "Picking 1: 8.25 kg of fruit, 40 clusters.",
    )
    assert [body["results"][place]["date_is"] for place in (0, 1)] == ["happened", "seen"]
    assert body["results"][5]["step"]["number"] == 2
    assert body["results"][5]["recorded_by"] is not None


def test_a_cordon_has_its_own_timeline_with_what_happened_to_its_vine(lived):
    assert [entry["kind"] for entry in timeline(lived, "cordon=right")["results"]] == [
        "vine_event", "cordon_inspection",
    ]  # fmt: skip
    whole = lived.open(scope="vine", cordon=..., noticed_on="2026-02-01")
    assert whole.status_code == 201, whole.json()
    newest = timeline(lived, "cordon=right")["results"][-1]
    assert (newest["sentence"], newest["cordon"]) == ("Whole vine: noticed.", "")


def test_a_season_says_of_a_cordon_only_what_was_seen_in_it(lived):
    seasons = {each["season"]: each["seen"] for each in timeline(lived)["seasons"]}
    assert list(seasons) == [2024, 2025, 2026]
    assert [(seen["cordon"], seen["looks"], seen["living_positions"]) for seen in seasons[2024]] == [
        ("left", 2, 6), ("right", 1, 9),
    ]  # fmt: skip
    assert seasons[2025] == []
    assert [(seen["cordon"], seen["living_positions"]) for seen in seasons[2026]] == [("left", 3)]


def test_a_record_without_a_date_stands_at_the_beginning_of_its_season(lived):
    newest = CordonInspection.objects.for_farm(lived.yard.block.farm_id).order_by("-observed_at")[0]
    CordonInspection.objects.for_farm(lived.yard.block.farm_id).filter(pk=newest.pk).update(
        observed_at=None, observed_offset_minutes=None, source="import", season=2024
    )
    told = [(entry["id"], entry["date"], entry["date_is"]) for entry in timeline(lived)["results"]]
    assert told[1] == (str(newest.pk), None, None)


def test_what_was_withdrawn_is_told_only_when_it_is_asked_for(lived):
    seen = timeline(lived, "cordon=right")["results"][1]["id"]
    client, url = lived.yard.client, lived.yard.url
    assert client.delete(f"{url}/cordon-inspections/{seen}", headers={"If-Match": "*"}).status_code == 200
    (case,) = client.get(lived.url).json()["results"]
    assert client.delete(f"{lived.url}/{case['id']}", headers={"If-Match": "*"}).status_code == 200
    assert timeline(lived)["count"] == 6
    whole = timeline(lived, "withdrawn=true")
    assert (whole["count"], sum(entry["withdrawn"] for entry in whole["results"])) == (10, 4)
    assert [each["seen"][0]["cordon"] for each in whole["seasons"] if each["seen"]] == ["left", "left"]


def test_one_season_can_be_asked_for_and_more_than_can_be_told_is_refused(lived, monkeypatch):
    assert {entry["season"] for entry in timeline(lived, "season=2025")["results"]} == {2025}
    monkeypatch.setattr("balance.cordons.timelines.MOST_ENTRIES", 9)
    answer = lived.yard.client.get(f"{lived.yard.url}/vines/{lived.yard.vines[0].pk}/timeline")
    assert (answer.status_code, answer.json()["errors"][0]["parameter"]) == (422, "season")
    assert timeline(lived, "season=2024")["count"] == 6


def test_a_vine_of_nobody_is_not_found(lived):
    assert lived.yard.client.get(f"{lived.yard.url}/vines/{lived.yard.block.pk}/timeline").status_code == 404
