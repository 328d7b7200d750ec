"""What a summary says is what the addresses of a single block say, and pooled it is what all weights say at once."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import numpy as np
import pytest

from balance.reports.charts import svg_of
from balance.reports.facts import Facts
from balance.reports.lines.standing import standing_of
from balance.reports.quantities import METRIC
from balance.reports.reading import Reading
from records.access import enter, open_farm
from tests.balance.summaries.seasons import WEIGHTS, Seasons, summed

pytestmark = pytest.mark.django_db
KEPT = (50, 60, 45, 30, 55, 40)
MORE = (1.0, 0.0, 3.25, 2.5, *WEIGHTS)
TAILS = ("season-summary", "season-trend", "weight-distribution", "block-comparison", "attention", "completeness")


@pytest.fixture
def lower(cast) -> Seasons:
    block = Seasons(cast, "Lower Terrace", cultivar_id="concord", training="bilateral_cordon")
    for season in (2025, 2026, 2027):
        block.winter(season, WEIGHTS, KEPT)
    block.harvest(2025, 300)
    block.harvest(2026, 500)
    block.look(2027, 1, 5, 3)
    block.look(2027, 2, 7, 2)
    return block


@pytest.fixture
def upper(cast) -> Seasons:
    block = Seasons(cast, "Upper Bench", cultivar_id="reliance", rootstock="own roots", shelter="high_tunnel")
    block.winter(2027, MORE, (70, 20, 33))
    return block


def of_block(block: Seasons, tail: str, query: str = "") -> dict[str, Any]:
    return summed(block.cast.viewer.client, f"farms/{block.cast.farm.pk}/blocks/{block.block.pk}/{tail}", query)


def of_farm(block: Seasons, tail: str, query: str = "") -> dict[str, Any]:
    return summed(block.cast.viewer.client, f"farms/{block.cast.farm.pk}/{tail}", query)


@pytest.mark.parametrize(("units", "unit", "asked"), [("metric", "kg", "kg"), ("us", "lb", "%5Blb_av%5D")])
def test_weights_of_a_block_are_those_of_its_statistics(lower, units, unit, asked):
    told = of_block(lower, "season-summary", f"season=2027&units={units}")["weights"]
    statistics = lower.told("statistics", f"season=2027&unit={asked}")
    assert (told["n"], told["unit"]) == (statistics["n"], unit)
    for name, other in (
        ("mean", "mean"), ("standard_deviation", "standard_deviation"), ("least", "minimum"), ("most", "maximum"),
        ("coefficient_of_variation", "coefficient_of_variation"),
    ):  # fmt: skip
        assert told[name] == pytest.approx(statistics[other], rel=1e-6), name
    median = next(each for each in told["quantiles"] if each["share"] == 0.5)
    assert median["value"] == median["low"] == median["high"] == pytest.approx(statistics["median"])
    assert told["quantiles_are_exact"]


def test_counts_against_targets_are_those_of_the_targets_of_the_block(lower):
    told = of_block(lower, "season-summary", "season=2027")["counts"]
    vines = lower.told("targets", "season=2027")["results"]
    judged = [vine for vine in vines if vine["outcome"]]
    outcomes = [vine["outcome"] for vine in judged]
    assert judged
    assert told["targets"] == sum(vine["nodes"] is not None for vine in vines)
    assert told["judged"] == len(judged)
    assert (told["within"], told["too_many"], told["too_few"]) == tuple(
        outcomes.count(each) for each in ("within_tolerance", "too_many", "too_few")
    )
    assert told["mean_difference"] == pytest.approx(np.mean([vine["difference"] for vine in judged]))


@pytest.mark.parametrize(("season", "member"), [(2026, "before"), (2025, None)])
def test_the_crop_load_is_that_of_the_block(lower, season, member):
    shown = of_block(lower, "season-summary", "season=2027")["crop_load"]
    if member is None:
        shown = of_block(lower, "season-summary", f"season={season}")["crop_load"]
        member = "now"
    load = lower.told("crop-load", f"season={season}")["whole_block"]
    told = shown[member]
    assert told["season"] == season
    assert told["basis"] == "whole_block"
    for name in ("value", "low", "high", "verdict", "vines"):
        assert told[name] == load[name], name
    assert told["yield"] == pytest.approx(load["yield_kg"])
    assert told["pruning_weight"] == pytest.approx(load["pruning_weight_kg"])


def test_a_crop_load_that_cannot_be_told_says_why_as_the_block_does(lower):
    told = of_block(lower, "season-summary", "season=2027")["crop_load"]["now"]
    assert told["value"] is None
    assert told["reason"] == lower.told("crop-load", "season=2027")["whole_block"]["reason"]


def test_the_blank_share_is_that_of_the_inspections(lower):
    told = of_block(lower, "season-summary", "season=2027")["cordons"]
    answer = lower.cast.viewer.client.get(f"{lower.url}/blank-cordon?block={lower.block.pk}&from=2027&to=2027").json()
    share = answer["results"][0]["positions"]
    assert told["positions"]["blank_share"] == share["share"]["value"]
    assert (told["positions"]["blank"], told["positions"]["cordons"]) == (share["blank"], share["cordons"])
    assert told["inspected"] == answer["results"][0]["inspected"]
    assert told["length"]["blank_share"] is None
    assert told["length"]["reason"]


def test_weights_of_several_blocks_are_those_of_all_vines_at_once(lower, upper):
    told = of_farm(lower, "season-summary", "season=2027")["weights"]
    both = np.array([*WEIGHTS, *MORE])
    assert told["n"] == both.size
    assert told["mean"] == pytest.approx(both.mean(), rel=1e-9)
    assert told["standard_deviation"] == pytest.approx(both.std(ddof=1), rel=1e-9)
    assert (told["least"], told["most"]) == (both.min(), both.max())
    assert not told["quantiles_are_exact"]
    for each in told["quantiles"]:
        exact = np.quantile(both, each["share"])
        assert each["low"] - 1e-9 <= exact <= each["high"] + 1e-9
        assert each["low"] <= each["value"] <= each["high"]


def test_what_a_farm_comes_to_is_the_sum_of_its_blocks(lower, upper):
    farm = of_farm(lower, "season-summary", "season=2027")
    blocks = [of_block(block, "season-summary", "season=2027") for block in (lower, upper)]
    assert farm["blocks"] == 2
    for name in ("places", "standing_vines", "missing_vines"):
        assert farm[name] == sum(block[name] for block in blocks), name
    for name in ("targets", "counted", "judged", "within", "too_many", "too_few", "below_formula_range"):
        assert farm["counts"][name] == sum(block["counts"][name] for block in blocks), name
    assert sum(farm["standings"].values()) == 2
    for block in blocks:
        assert farm["standings"][block["standing"]] >= 1
    assert farm["crop_load"] is None
    assert farm["standing"] is None


def test_the_bins_hold_every_vine_once(lower, upper):
    told = of_farm(lower, "weight-distribution", "season=2027")
    both = np.array([*WEIGHTS, *MORE])
    assert sum(each["n"] for each in told["bins"]) == both.size == told["weights"]["n"]
    for each in told["bins"]:
        assert each["n"] == ((both >= each["from"]) & (both < each["to"])).sum(), each
    assert told["bins"][-1]["n"] > 0
    assert told["blocks_weighed"] == 2


def test_without_a_season_the_newest_on_record_answers(lower):
    lower.harvest(2028, 100)
    assert of_farm(lower, "season-summary")["season"] == 2028
    assert of_farm(lower, "completeness")["season"] == 2028


@pytest.mark.parametrize("tail", TAILS)
def test_a_farm_without_any_record_is_answered_and_says_nothing(cast, tail):
    told = summed(cast.viewer.client, f"farms/{cast.farm.pk}/{tail}")
    assert told["season"] is None
    assert told.get("blocks", 0) == 0
    assert told.get("results", told.get("seasons", [])) == []


def test_a_trend_begins_with_the_oldest_on_record_and_shows_gaps(lower, upper):
    upper.winter(2023, WEIGHTS)
    told = of_farm(lower, "season-trend")["seasons"]
    assert [season["season"] for season in told] == [2023, 2024, 2025, 2026, 2027]
    gap = told[1]
    assert (gap["blocks_recorded"], gap["weights"]["mean"]) == (0, None)
    assert gap["weights"]["reason"]


def test_each_season_of_a_trend_is_what_the_season_itself_says(lower, upper):
    for season in of_farm(lower, "season-trend", "first=2025&last=2027")["seasons"]:
        whole = of_farm(lower, "season-summary", f"season={season['season']}")
        assert season["weights"]["mean"] == whole["weights"]["mean"]
        assert season["weights"]["standard_deviation"] == whole["weights"]["standard_deviation"]
        assert season["mean_difference"] == whole["counts"]["mean_difference"]
        assert season["blank_share"] == whole["cordons"]["positions"]["blank_share"]
        assert season["standing_vines"] == whole["standing_vines"]


@pytest.mark.parametrize("query", ["first=2027&last=2025", "first=1990&last=2027"])
def test_seasons_the_wrong_way_round_or_too_many_are_refused_with_a_way_out(lower, query):
    answer = lower.cast.viewer.client.get(f"{lower.url}/season-trend?{query}")
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["code"] in {"out_of_range", "too_many_seasons"}


def test_a_block_is_told_in_a_line_as_it_is_told_by_itself(lower, upper):
    lines = {line["block"]: line for line in of_farm(lower, "block-comparison", "season=2027")["results"]}
    for block in (lower, upper):
        line, whole = lines[str(block.block.pk)], of_block(block, "season-summary", "season=2027")
        assert line["mean_weight"] == whole["weights"]["mean"]
        assert line["mean_difference"] == whole["counts"]["mean_difference"]
        assert (line["standing"], line["why"]) == (whole["standing"], whole["why"])
        assert line["weighed_share"] == whole["completeness"]["weighed_share"]


@pytest.mark.parametrize(("limits", "standing"), [((5, 10), "over"), ((12, 20), "in_balance"), (None, None)])
def test_a_block_stands_where_its_season_report_says(lower, upper, limits, standing):
    if limits:
        lower.choose_range(*limits)
    for block in (lower, upper):
        told = of_block(block, "season-summary", "season=2027")
        enter(block.cast.owner.caller)
        opened = open_farm(block.cast.owner.caller, block.cast.farm.pk)
        reported = standing_of(Facts(Reading(opened, 2027, METRIC, datetime.now(UTC)), block.block))
        assert (told["standing"], told["why"]) == reported
        assert standing is None or block is upper or told["standing"] == standing


def test_tasks_are_counted_as_the_worklist_lists_them(lower, monkeypatch):
    monkeypatch.setattr("balance.cordons.parts_of_year.today_on", lambda _: date(2026, 7, 1))
    for place in (3, 4, 5):
        lower.case(place)
    lower.tell(lower.vines[4], "missing", "2026-03-01")
    listed = lower.cast.viewer.client.get(
        f"{lower.url}/cordon-worklist?block={lower.block.pk}&season=2026&part_of_year=summer&task=look_for_candidate"
    ).json()
    told = of_block(lower, "season-summary", "season=2027")["cordons"]
    assert told["tasks_due"] == listed["count"] == 2
    assert told["tasks"][0]["task"] == "look_for_candidate"
    assert told["tasks_overdue"] == sum(row["overdue"] > 0 for row in listed["results"])
    assert told["open_cases"] == 3


@pytest.mark.parametrize(
    ("tail", "query"),
    [
        ("season-trend", "figure=mean_weight"),
        ("season-trend", "figure=mean_difference"),
        ("season-trend", "figure=blank_share&units=us"),
        ("weight-distribution", "season=2027"),
        ("weight-distribution", "season=2027&units=us"),
        ("block-comparison", "season=2027"),
    ],
)
def test_the_drawing_is_of_the_specification_that_is_given(lower, upper, tail, query):
    client = lower.cast.viewer.client
    spec = client.get(f"{lower.url}/{tail}?{query}&as=vega-lite")
    drawing = client.get(f"{lower.url}/{tail}?{query}&as=svg")
    assert spec["Content-Type"] == "application/vnd.vegalite.v5+json"
    assert drawing["Content-Type"] == "image/svg+xml"
    assert drawing.content.decode() == svg_of(spec.json())
    assert drawing["Content-Security-Policy"].startswith("sandbox; default-src 'none'")


def test_a_chart_of_the_weights_counts_every_vine(lower, upper):
    spec = lower.cast.viewer.client.get(f"{lower.url}/weight-distribution?season=2027&as=vega-lite").json()
    bars = next(each for each in spec["layer"] if each["mark"].get("type") == "bar")["data"]["values"]
    assert sum(bar["n"] for bar in bars) == len(WEIGHTS) + len(MORE)


def test_a_crop_load_is_drawn_of_one_block_and_refused_of_many(lower):
    client = lower.cast.viewer.client
    assert client.get(f"{lower.url}/season-trend?figure=crop_load&as=svg").status_code == 422
    one = client.get(f"{lower.url}/blocks/{lower.block.pk}/season-trend?figure=crop_load&as=vega-lite")
    assert one.status_code == 200
    assert "500" not in one.json()["title"]["text"][0]


def test_a_chart_of_nothing_says_that_nothing_was_measured(cast):
    for tail in ("season-trend", "weight-distribution", "block-comparison"):
        answer = cast.viewer.client.get(f"/api/v1/farms/{cast.farm.pk}/{tail}?as=svg")
        assert answer.status_code == 200, tail


def test_completeness_says_what_lacks_and_what_that_costs(lower, upper):
    told = of_farm(lower, "completeness", "season=2027")
    lines = {line["block_name"]: line for line in told["results"]}
    assert {each["code"] for each in lines["Lower Terrace"]["lacks"]} == {"bud_sample", "harvest"}
    assert {"inspections", "harvest", "training"} <= {each["code"] for each in lines["Upper Bench"]["lacks"]}
    assert told["total"]["weighed"] == len(WEIGHTS) + len(MORE)
    assert {each["code"]: each["blocks"] for each in told["lacking"]}["harvest"] == 2


def test_the_chart_of_one_block_is_told_in_the_singular(lower):
    drawn = lower.cast.viewer.client.get(f"{lower.url}/blocks/{lower.block.pk}/weight-distribution?season=2027&as=svg")
    assert "from 1 of 1 block." in drawn.content.decode()
