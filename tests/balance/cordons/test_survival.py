"""How long cordons live, over HTTP, recounted by hand."""

from __future__ import annotations

from typing import Any

import pytest

from balance.cordons import survival as survival_module
from tests.balance.cordons.lived import Lived

pytestmark = pytest.mark.django_db


@pytest.fixture
def followed(cast) -> Lived:
    return Lived(cast, year_planted=2010)


def asked(followed: Lived, query: str = "", status: int = 200) -> Any:
    answer = followed.client.get(f"{followed.url}/cordon-survival{query}")
    assert answer.status_code == status, answer.json()
    return answer.json()


def columns(group: dict[str, Any], *names: str) -> list[tuple[Any, ...]]:
    return [tuple(year[name] for name in names) for year in group["years"]]


def five_cordons(followed: Lived) -> None:
    """Five first inspected at the ages of 8 (three), 9 and 10 years; two end, at 10 and at 12."""
    followed.look(0, 2018, 2019)
    followed.case(0, 2020)
    followed.look(1, 2018, 2022)
    followed.look(2, 2018, 2021)
    followed.look(3, 2019, 2022)
    followed.look(4, 2020, 2021)
    followed.case(4, 2022)


def test_survival_by_age_is_what_a_count_by_hand_gives(followed):
    five_cordons(followed)
    told = asked(followed)
    group = told["results"][0]
    assert (group["n"], group["events"], group["censored"]) == (5, 2, 3)
    # Age 10: 0, 1, 2, 3 at risk (4 is first looked at in that season); 0 ends. Age 11: 1, 2, 3, 4; 2 seen last.
    # Age 12: 1, 3, 4 at risk; 4 ends, the others are seen last.
    assert columns(group, "year", "at_risk", "events", "censored") == [(10, 4, 1, 0), (11, 4, 0, 1), (12, 3, 1, 2)]
    assert [year["survival"] for year in group["years"]] == pytest.approx([3 / 4, 3 / 4, 1 / 2])
    assert group["median"] == {"value": 12, "unit": "a", "reason": None, "range": None, "verdict": None}
    # log-log by hand, at age 10: s² = 1/(4·3), ln S = -0.287682; exp(±1.959964·0.288675/0.287682) = 7.14724, 0.13991
    first = group["years"][0]
    assert (first["low"], first["high"]) == pytest.approx((0.127947, 0.960549), abs=1e-6)
    assert told["method"]["code"] == "kaplan_meier"
    assert {each["name"]: each["value"] for each in told["inputs"]} == {"cordons": 5, "events": 2, "confidence": 95}


def test_years_since_the_first_inspection_put_all_at_risk_from_the_beginning(followed):
    five_cordons(followed)
    group = asked(followed, "?clock=years_since_first_inspection")["results"][0]
    # Years: 0 ends after 2, 4 after 2; censored: 1 after 4, 2 after 3, 3 after 3.
    assert columns(group, "year", "at_risk", "events", "censored") == [(2, 5, 2, 0), (3, 3, 0, 2), (4, 1, 0, 1)]
    assert [year["survival"] for year in group["years"]] == pytest.approx([0.6] * 3)
    assert (group["median"]["value"], group["median"]["reason"][:14]) == (None, "More than half")


def test_a_renewed_cordon_counts_once_in_each_life(followed):
    followed.look(0, 2018, 2019)
    case = followed.case(0, 2020)
    followed.step(case, "laid_down", 2021)
    followed.step(case, "failed", 2021)
    group = asked(followed)["results"][0]
    assert (group["n"], group["events"]) == (2, 2)
    assert columns(group, "year", "at_risk", "events", "survival") == [(0, 1, 1, 0), (10, 1, 1, 0)]
    assert any("nobody was left at risk" in caution for caution in asked(followed)["cautions"])


def test_what_is_left_out_is_counted_and_no_number_is_made_of_it(cast):
    followed = Lived(cast)
    followed.look(0, 2018)
    followed.look(1, 2018)
    followed.case(1, 2018)
    followed.look(2, 2018, 2019)
    told = asked(followed)["results"][0]
    assert (told["n"], told["seen_once"], told["found_failed"], told["age_not_known"]) == (0, 1, 1, 1)
    assert (told["years"], told["median"]["value"], told["median"]["reason"]) == (
        [],
        None,
        "No cordon of this group was followed: each was seen in one season only, or its age is not known.",
    )


def test_without_an_event_survival_stays_one_without_interval_or_median(followed):
    followed.look(0, 2018, 2021)
    told = asked(followed)["results"][0]
    assert columns(told, "survival", "low", "high") == [(1, None, None)]
    assert told["median"]["reason"] == told["median_high"]["reason"]
    assert told["median"]["reason"].startswith("No case was noticed")


def test_groups_stand_side_by_side_by_what_was_asked_for(followed, cast):
    five_cordons(followed)
    vines = followed.vines[0].__class__.objects.for_farm(cast.farm)
    vines.filter(pk__in=[followed.vines[0].pk, followed.vines[4].pk]).update(rootstock="101-14")
    told = {group["label"]: group for group in asked(followed, "?by=rootstock")["results"]}
    assert {label: (group["group"], group["n"], group["events"]) for label, group in told.items()} == {
        "not stated": ("", 3, 0),
        "101-14": ("101-14", 2, 2),
    }
    followed.block.__class__.objects.for_farm(cast.farm).update(training="bilateral_cordon", cultivar="concord")
    for by, group, label in (
        ("block", str(followed.block.pk), "Lower Terrace"),
        ("cultivar", "concord", "Concord"),
        ("training", "bilateral_cordon", "bilateral cordon"),
        ("none", "", ""),
    ):
        results = asked(followed, f"?by={by}")["results"]
        assert [(each["group"], each["label"], each["n"]) for each in results] == [(group, label, 5)]


def test_a_narrower_confidence_makes_a_narrower_interval(followed):
    five_cordons(followed)
    wide, narrow = (asked(followed, f"?confidence={each}")["results"][0]["years"][0] for each in (99, 50))
    assert wide["low"] < narrow["low"] < narrow["survival"] < narrow["high"] < wide["high"]


def test_a_block_is_asked_for_alone_and_another_farms_is_not_found(followed):
    five_cordons(followed)
    assert asked(followed, f"?block={followed.block.pk}")["results"][0]["n"] == 5
    foreign = asked(followed, "?block=01991b5e-0000-7000-8000-0000000b10c1", 422)
    assert foreign["errors"][0]["code"] == "no_such_block"


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("by=row", 400),
        ("clock=days", 400),
        ("confidence=NaN", 400),
        ("confidence=1e400", 400),
        ("block=7", 400),
        ("x=1", 400),
        ("confidence=0.95", 422),
        ("confidence=100", 422),
    ],
)
def test_what_nobody_can_ask_for_is_refused(followed, query, status):
    assert asked(followed, f"?{query}", status)["errors"]


def test_too_many_groups_are_refused_with_the_way_out(followed, monkeypatch):
    followed.look(0, 2018)
    monkeypatch.setattr(survival_module, "MOST_GROUPS", 0)
    assert asked(followed, "", 422)["errors"][0]["code"] == "too_many_groups"
