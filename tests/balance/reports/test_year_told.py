"""Crop load, trend, buds, yield, precision and structure: every number recomputed from the raw records."""

from __future__ import annotations

import math
import statistics

import numpy as np
import pytest
from scipy import stats

from tests.balance.reports.season_told import KILOGRAMS, Raw, Told, document_of, figures_of, table_of, whole_year

POUND = KILOGRAMS["[lb_av]"]


@pytest.fixture
def told(desk):
    told = Told.concord(desk, "Tarn Field")
    whole_year(told)
    return told


def test_a_crop_load_takes_the_prunings_of_the_winter_after_its_harvest_and_no_others(desk, told):
    page = told.page(document_of(desk, "us"))
    raw = Raw(told)
    loads = {row["season"]: row for row in table_of(page, "crop_load", "crop_loads")}
    assert sorted(loads) == [2025, 2026]
    for season, row in loads.items():
        standing = raw.places - raw.missing(season)
        wood = statistics.mean(raw.weights(season + 1)) * standing
        assert (row["vines"], row["pruning_season"]) == (standing, season + 1)
        assert row["yield"] == pytest.approx(raw.picked(season) / POUND)
        assert row["prunings"] == pytest.approx(wood / POUND)
        assert row["crop_load"] == pytest.approx(raw.picked(season) / wood)
    figures = figures_of(page, "crop_load")
    assert figures["crop_load"]["value"] is None
    assert "season 2028" in figures["crop_load"]["reason"]
    newest = figures["crop_load_of_the_season_before"]
    assert newest["value"] == loads[2026]["crop_load"]
    assert (newest["range_low"], newest["range_high"], newest["verdict"]) == (10, 20, "within")
    assert "Cornell Lake Erie" in newest["range_source"]


def test_when_the_winter_after_is_weighed_the_harvest_has_its_crop_load_with_an_interval(desk, told):
    told.weigh(2028, [1.8, 1.6, 2.0, 1.4, 1.9])
    figure = figures_of(told.page(document_of(desk)), "crop_load")["crop_load"]
    raw = Raw(told)
    weights = raw.weights(2028)
    standing = raw.places - raw.missing(2027)
    mean, n = statistics.mean(weights), len(weights)
    half = stats.t.ppf(0.975, n - 1) * statistics.stdev(weights) * math.sqrt(1 / n - 1 / standing)
    crop = raw.picked(2027) / standing
    assert [figure[name] for name in ("value", "low", "high")] == pytest.approx(
        [crop / mean, crop / (mean + half), crop / (mean - half)]
    )
    assert (figure["verdict"], figure["n"]) == ("above", 5)


def test_the_trend_is_the_line_through_the_logarithms_up_to_the_winter_after_the_harvest(desk, told):
    told.weigh(2029, [9.0, 9.5, 9.2])  # of a later year, which this report knows nothing of
    page = told.page(document_of(desk))
    raw = Raw(told)
    seasons = [2025, 2026, 2027]
    line = stats.linregress(seasons, [math.log(statistics.mean(raw.weights(season))) for season in seasons])
    half = stats.t.ppf(0.95, 1) * line.stderr
    figure = figures_of(page, "crop_load")["change_a_year"]
    wanted = [100 * math.expm1(slope) for slope in (line.slope, line.slope - half, line.slope + half)]
    assert [figure[name] for name in ("value", "low", "high")] == pytest.approx(wanted, abs=1e-3)
    winters = table_of(page, "crop_load", "winters")
    assert [row["season"] for row in winters] == seasons
    assert [row["mean"] for row in winters] == pytest.approx([statistics.mean(raw.weights(each)) for each in seasons])


def test_the_interval_of_a_winter_is_about_the_vines_that_stood_in_it(desk, told):
    page = told.page(document_of(desk))
    raw = Raw(told)
    for row in table_of(page, "crop_load", "winters"):
        weights, standing = raw.weights(row["season"]), raw.places - raw.missing(row["season"])
        n = len(weights)
        half = stats.t.ppf(0.975, n - 1) * statistics.stdev(weights) * math.sqrt(1 / n - 1 / standing)
        mean = statistics.mean(weights)
        assert [row["low"], row["high"]] == pytest.approx([mean - half, mean + half])
    told_first = figures_of(page, "prunings")["mean_pruning_weight"]
    assert [row["low"], row["high"]] == pytest.approx([told_first["low"], told_first["high"]])


def test_without_a_range_there_is_a_crop_load_and_no_verdict(desk):
    told = Told(desk, "Own Seedling")
    told.weigh(2027, [2.0, 2.2, 1.8])
    told.pick(2026, 200)
    figure = figures_of(told.page(document_of(desk)), "crop_load")["crop_load_of_the_season_before"]
    assert figure["value"] == pytest.approx(200 / (12 * 2.0))
    assert (figure["verdict"], figure["range_source"], figure["range_low"]) == ("", "", None)


def test_bud_injury_is_that_of_the_pooled_samples_with_the_exact_interval(desk, told):
    page = told.page(document_of(desk))
    samples = Raw(told).buds
    examined = sum(row.nodes_examined for row in samples)
    dead = examined - sum(row.primary_alive for row in samples)
    figure = figures_of(page, "bud_injury")["bud_injury"]
    exact = stats.binomtest(dead, examined).proportion_ci(method="exact")
    assert (figure["n"], figure["value"]) == (160, pytest.approx(100 * dead / examined))
    assert [figure["low"], figure["high"]] == pytest.approx([100 * exact.low, 100 * exact.high])
    section = next(each for each in page["sections"] if each["code"] == "bud_injury")
    assert any("no target here is adjusted" in sentence for sentence in section["sentences"])


def test_yield_and_quality_are_those_of_the_pickings(desk, told):
    page = told.page(document_of(desk, "us"))
    raw = Raw(told)
    figures = figures_of(page, "yields")
    picked, standing = raw.picked(2027), raw.places - raw.missing(2027)
    area = 12 * 2.4 * 2.7
    assert figures["yield_of_block"]["value"] == pytest.approx(picked / POUND)
    assert figures["yield_per_vine"]["value"] == pytest.approx(picked / POUND / standing)
    tons_an_acre = picked / area / (2000 * POUND / (4840 * 0.9144**2))
    assert figures["yield_per_area"]["value"] == pytest.approx(tons_an_acre)
    assert figures["cluster_weight"]["value"] == pytest.approx(picked / 1450 / (POUND / 16))
    solids = figures["soluble_solids"]
    assert (solids["value"], solids["range_low"], solids["verdict"]) == (15.2, 16, "below")
    row = table_of(page, "yields", "pickings")[0]
    assert (row["ph"], row["titratable_acidity"], row["reference_acid"]) == (3.4, 8.0, "tartaric acid")
    assert (row["clusters"], row["marketable"], row["berry_weight"]) == (1450, None, None)
    estimate = table_of(page, "yields", "estimates")[0]
    by_hand = standing * statistics.mean((130, 148, 155, 120)) * picked / 1450
    assert estimate["estimate"] == pytest.approx(by_hand / POUND)
    assert estimate["off"] == pytest.approx(100 * (by_hand - picked) / picked, abs=1e-5)


def test_the_precision_of_the_sample_is_recomputed_by_trying_every_number_of_vines(desk, told):
    figures = figures_of(told.page(document_of(desk)), "sampling")
    raw = Raw(told)
    weights, standing = raw.weights(2027), raw.places - raw.missing(2027)

    def error(n: int) -> float:
        variation = 100 * statistics.stdev(weights) / statistics.mean(weights)
        return float(stats.t.ppf(0.975, n - 1) * variation * math.sqrt(1 / n - 1 / standing))

    assert figures["margin_of_error"]["value"] == pytest.approx(error(len(weights)))
    assert figures["vines_needed"]["value"] == next(n for n in range(2, standing + 1) if error(n) <= 10)
    assert [figures[name]["value"] for name in ("weighed", "population")] == [len(weights), standing]


def test_a_mean_of_few_vines_stands_beside_one_drawn_towards_blocks_of_its_cultivar(desk, told):
    """V = s²(1/n − 1/N) with s² pooled; the mean drawn to is that of the blocks by 1/(A + V), as shown for the share."""
    blocks = [(Raw(told).weights(2027), 10)]
    for name, shift in (("Hill Field", 0.4), ("Upper Terrace", 0.9), ("Brook Side", -0.2)):
        other = Told.concord(desk, name)
        other.weigh(2027, [2.0 + shift, 2.4 + shift, 1.7 + shift, 2.1 + shift])
        blocks.append((Raw(other).weights(2027), 12))
    Told(desk, "Another Cultivar").weigh(2027, [9.0, 8.0])  # is not alike
    figures = figures_of(told.page(document_of(desk)), "sampling")
    freedom = sum(len(weights) - 1 for weights, _ in blocks)
    pooled = sum((len(weights) - 1) * statistics.variance(weights) for weights, _ in blocks) / freedom
    chance = [pooled * (1 / len(weights) - 1 / of) for weights, of in blocks]
    means = [statistics.mean(weights) for weights, _ in blocks]
    kept = figures["weight_of_plain"]["value"] / 100
    between = chance[0] * kept / (1 - kept)
    drawn_to = np.average(means, weights=[1 / (between + each) for each in chance])
    assert 0 < kept < 1
    assert figures["plain_mean"]["value"] == pytest.approx(means[0])
    assert figures["shrunken_mean"]["value"] == pytest.approx(kept * means[0] + (1 - kept) * drawn_to, rel=1e-6)


def test_blank_cordon_cases_and_capacity_are_those_of_the_inspections(desk, told):
    page = told.page(document_of(desk))
    figures = figures_of(page, "structure")
    now, before = (3 + 2 + 4) / 30, (1 + 2 + 0) / 30
    assert figures["blank_share_by_positions"]["value"] == pytest.approx(100 * now)
    assert figures["change_of_blank_share_by_positions"]["value"] == pytest.approx(100 * (now - before))
    assert figures["capacity_lost"]["value"] == pytest.approx(100 * np.mean([0.3, 0.2, 0.4]))
    assert figures["blank_share_by_length"]["value"] is None
    assert figures["blank_share_by_length"]["verdict"] == ""
    assert [figures[name]["value"] for name in ("cordons", "open_cases", "new_cases")] == [3, 1, 0]
    assert table_of(page, "structure", "open_cases") == [{"step": "noticed", "cases": 1}]
    sentences = next(each["sentences"] for each in page["sections"] if each["code"] == "structure")
    assert "1 open case: noticed in 1." in sentences


def test_the_work_of_the_next_winter_is_counted_by_task(desk, told):
    cases = f"{desk.yard.url}/cordon-cases"
    noticed = {"vine": told.vines[5], "scope": "cordon", "cordon": "right", "noticed_on": "2026-06-10"}
    case = desk.yard.client.post(cases, noticed, format="json").json()
    step = {"step": "candidate_chosen", "happened_on": "2026-07-10"}
    desk.yard.client.post(f"{cases}/{case['id']}/steps", step, format="json", headers={"If-Match": "*"})
    document = document_of(desk)
    work = table_of(told.page(document), "structure", "worklist")
    assert work == [{"task": "Lay down", "tasks": 1, "vines": 1, "overdue": 1, "hours": None}]
    assert any(source["used_for"] == "work on cordons" for source in document["sources"])
