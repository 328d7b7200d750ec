"""What needs a look is told with its figures, why and what to do, the most urgent first; what does not is not."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import pytest

from tests.balance.summaries.seasons import WEIGHTS, Seasons, summed

pytestmark = pytest.mark.django_db
IN_WINTER, IN_SUMMER = date(2027, 2, 1), date(2027, 7, 1)
ALL = [*WEIGHTS, *WEIGHTS, *WEIGHTS[:6]]


@pytest.fixture
def block(cast, monkeypatch) -> Seasons:
    made = Seasons(cast, "Lower Terrace", cultivar_id="concord", training="bilateral_cordon")
    on(monkeypatch, IN_WINTER)
    return made


def on(monkeypatch, day: date) -> None:
    for module in ("cordons.parts_of_year", "summaries.attention_list"):
        monkeypatch.setattr(f"balance.{module}.today_on", lambda _: day)


def notices(block: Seasons, query: str = "") -> dict[str, dict[str, Any]]:
    """Give the notices by code, each as an answer of the farm and of the block alike."""
    of_farm = summed(block.cast.viewer.client, f"farms/{block.cast.farm.pk}/attention", query)
    of_block = summed(block.cast.viewer.client, f"farms/{block.cast.farm.pk}/blocks/{block.block.pk}/attention", query)
    assert of_farm["results"] == of_block["results"]
    for each in of_farm["results"]:
        shown = block.cast.viewer.client.get(each["link"])
        assert shown.status_code == 200, (each["link"], shown.content)
    return {each["code"]: each for each in of_farm["results"]}


def figures(notice: dict[str, Any]) -> dict[str, Any]:
    return {each["name"]: each["value"] for each in notice["figures"]}


def test_a_block_that_was_not_weighed_is_told_while_its_winter_is_on(block, monkeypatch):
    told = notices(block)["not_weighed"]
    assert (told["urgency"], told["season"]) == ("now", 2027)
    assert "Weigh a sample" in told["todo"]
    on(monkeypatch, IN_SUMMER)
    assert "not_weighed" not in notices(block)


def test_a_block_without_vines_asks_for_no_weights(cast, block):
    from records.access import enter, open_farm
    from records.services.vineyards import create_block

    enter(cast.owner.caller)
    create_block(open_farm(cast.owner.caller, cast.farm.pk), None, {"name": "Bare ground"})
    told = summed(cast.viewer.client, f"farms/{cast.farm.pk}/attention")["results"]
    assert [each["block_name"] for each in told if each["code"] == "not_weighed"] == ["Lower Terrace"]


def test_without_a_season_each_farm_is_asked_about_what_is_on_there(block, monkeypatch):
    block.winter(2025, ALL)
    assert notices(block)["not_weighed"]["season"] == 2027
    block.winter(2028, [0.0])
    assert {each["season"] for each in notices(block).values()} == {2028}


def test_a_sample_whose_mean_is_less_certain_than_wanted_is_told_before_the_cut(block, monkeypatch):
    block.winter(2027, WEIGHTS)
    told = notices(block)["sample_too_small"]
    progress = block.told("sample-progress", "season=2027")
    assert figures(told)["weighed"] == 12
    assert figures(told)["error"] == pytest.approx(progress["achieved_error"]["value"], rel=1e-4)
    assert "sample_too_small" not in notices(block, "error=15")
    on(monkeypatch, IN_SUMMER)
    assert "sample_too_small" not in notices(block)


def test_one_weight_says_nothing_of_the_rest_and_a_whole_block_needs_no_sample(block):
    block.winter(2027, [1.0])
    assert figures(notices(block)["sample_too_small"])["error"] is None
    block.winter(2027, [None, *ALL[1:]])
    assert "sample_too_small" not in notices(block)


def test_counts_without_weights_are_told_at_least_as_many_as_exceed_the_weights(block):
    block.winter(2027, [1.0, 1.0, None, None, None], [50, 50, 50, 50, 50])
    told = notices(block)["counted_without_weight"]
    assert figures(told) == {"counted": 5, "weighed": 2}
    assert "at least 3" in told["sentence"]


def test_counts_off_target_are_told_beyond_the_share_that_is_asked_for(block):
    block.winter(2027, WEIGHTS[:4], [99, 99, None, None])
    block.winter(2027, [None] * 4 + list(WEIGHTS[4:6]))
    told = notices(block)["counts_off_target"]
    assert figures(told)["off_target_share"] == 100
    assert figures(told)["too_many"] == 2
    assert "above it" in told["sentence"]
    assert "counts_off_target" not in notices(block, "off_target_share=100")


def test_nobody_is_sent_to_shorten_what_was_left_once_the_winter_is_over(block, monkeypatch):
    block.winter(2027, WEIGHTS[:4], [99, 99, None, None])
    assert "can still be shortened" in notices(block)["counts_off_target"]["todo"]
    on(monkeypatch, IN_SUMMER)
    told = notices(block, "season=2027")["counts_off_target"]
    assert "before they cut again" in told["todo"]


def test_counts_on_target_are_not_told(block):
    block.winter(2027, ALL)
    vines = block.told("targets", "season=2027")["results"]
    kept = [vine["nodes"] for vine in vines]
    block.winter(2026, ALL, kept)
    assert "counts_off_target" not in notices(block, "season=2026")


@pytest.mark.parametrize(("limits", "code"), [((5, 10), "crop_load_outside_range"), ((12, 20), None), (None, None)])
def test_a_crop_load_is_told_only_outside_a_range_that_somebody_assigned(block, limits, code):
    for season in (2026, 2027):
        block.winter(season, ALL)
    block.harvest(2026, 500)
    if limits:
        block.choose_range(*limits)
    told = {each for each in notices(block) if each.startswith("crop_load")}
    assert told == ({code} if code else set())
    if code:
        outside = notices(block)[code]
        load = block.told("crop-load", "season=2026")["whole_block"]["value"]
        assert figures(outside) == {"crop_load": load, "range_low": 5, "range_high": 10}


@pytest.mark.parametrize(
    ("kilograms", "told"),
    [
        ((300, 330, 360), True),  # rises to 9.9 of 5 to 10
        ((360, 330, 300), False),  # falls, and far from the lower end
        ((330, 300, 360), False),  # now down, now up
        ((200, 220, 240), False),  # rises, and far from the upper end
    ],
)
def test_a_crop_load_that_comes_near_the_end_of_its_range_over_three_harvests_is_told(block, kilograms, told):
    for season in (2025, 2026, 2027):
        block.winter(season, ALL)
    for season, weight in zip((2024, 2025, 2026), kilograms, strict=True):
        block.harvest(season, weight)
    block.choose_range(5, 10)
    found = notices(block)
    assert ("crop_load_towards_edge" in found) == told
    assert "crop_load_outside_range" not in found
    if told:
        assert figures(found["crop_load_towards_edge"])["range_high"] == 10
        assert "crop_load_towards_edge" not in notices(block, "edge_share=0")


def test_cordons_that_ask_for_work_now_are_told_with_what_is_overdue(block, monkeypatch):
    on(monkeypatch, date(2026, 7, 1))
    block.case(1, "2025-01-10")
    block.case(2, "2026-01-10")
    told = notices(block)["cordons_due"]
    assert figures(told) == {"tasks_due": 2, "tasks_overdue": 1}
    assert "replacements under way ask for 2 tasks" in told["sentence"]
    assert "adds the cordons that the farm's thresholds propose" in told["todo"]  # so its list may be longer
    assert told["urgency"] == "now"
    assert "look for a candidate 2" in told["sentence"]
    assert "cordons_due" not in notices(block, "season=2020")
    on(monkeypatch, IN_WINTER)
    assert "cordons_due" not in notices(block)


def test_doubtful_weights_are_told_each_kind_by_itself(block):
    block.winter(2027, [0.0, 30.0, *ALL[2:]], step=None)
    told = notices(block)
    counts = {code: figures(told[code])["vines"] for code in ("zero_weights", "far_out_weights", "without_scale_step")}
    assert counts == {"zero_weights": 1, "far_out_weights": 1, "without_scale_step": 30}
    assert "without_formula" not in told


def test_weights_for_which_no_formula_answers_are_told(cast, block):
    other = Seasons(cast, "Nameless")
    other.winter(2027, ALL)
    listed = summed(cast.viewer.client, f"farms/{cast.farm.pk}/attention", "code=without_formula")
    assert [each["block_name"] for each in listed["results"]] == ["Nameless"]
    assert listed["by_code"] == [{"code": "without_formula", "count": 1}]


def test_what_to_do_is_said_to_a_person_without_the_names_of_an_address_or_a_field(cast, block):
    Seasons(cast, "Nameless").winter(2027, ALL, step=None)
    block.winter(2027, [0.4, 2.9])
    Seasons(cast, "Not begun")
    todos = [each["todo"] for each in summed(cast.viewer.client, f"farms/{cast.farm.pk}/attention")["results"]]
    for said in ("scale's smallest step", "pruning formula", "how many vines, and which", "progress says how many"):
        assert any(said in todo for todo in todos), todos
    assert not [todo for todo in todos if re.search(r"[a-z]_[a-z]|sample-p", todo)]


def test_the_most_urgent_come_first(cast, block):
    block.winter(2027, [0.0, *WEIGHTS], [99] * 6, step=None)
    Seasons(cast, "Upper Bench", cultivar_id="concord")
    told = summed(cast.viewer.client, f"farms/{cast.farm.pk}/attention")
    places = [("now", "soon", "later").index(each["urgency"]) for each in told["results"]]
    assert places == sorted(places)
    assert sum(each["count"] for each in told["by_urgency"]) == told["count"] == len(places)
    assert len({(each["code"], each["block"]) for each in told["results"]}) == told["count"]


def test_a_block_in_order_is_told_nothing_of(block):
    block.winter(2027, ALL)
    assert notices(block) == {}


@pytest.mark.parametrize("query", ["code=anything", "error=0", "off_target_share=101", "edge_share=x"])
def test_limits_that_cannot_be_are_refused(block, query):
    assert block.cast.viewer.client.get(f"{block.url}/attention?{query}").status_code == 400
