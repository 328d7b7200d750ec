"""Prunings, targets and counts: every number recomputed from the raw records, row by row."""

from __future__ import annotations

import math
import statistics

import pytest
from scipy import stats

from tests.balance.reports.season_told import KILOGRAMS, Raw, Told, document_of, figures_of, table_of, whole_year

#: One of each in kilograms, and kilograms a metre.
UNITS = {"metric": {"kg": 1.0, "kg/m": 1.0}, "us": {"lb": 0.45359237, "lb/ft": 0.45359237 / 0.3048}}


def target_of(pounds: float) -> int | None:
    """30+10 a pound by hand: below one pound none, a half rounded down (Univ. Illinois Ext. prints 1 lb 30, 3 lb 50)."""
    return None if pounds < 1 else math.ceil(round(30 + 10 * (pounds - 1), 6) - 0.5)


@pytest.mark.parametrize("system", ["metric", "us"])
def test_a_block_with_missing_vines_tells_what_its_raw_records_say(desk, system):
    told = Told.concord(desk, "Tarn Field")
    whole_year(told)
    figures = figures_of(told.page(document_of(desk, system)), "prunings")
    raw = Raw(told)
    weights = raw.weights(2027)
    unit = UNITS[system][figures["mean_pruning_weight"]["unit"]]
    mean, deviation, n = statistics.mean(weights), statistics.stdev(weights), len(weights)
    standing = raw.places - raw.missing(2027)
    half = stats.t.ppf(0.975, n - 1) * deviation * math.sqrt(1 / n - 1 / standing)
    shown = figures["mean_pruning_weight"]
    assert (n, standing) == (8, 10)
    assert (shown["n"], shown["interval"]) == (n, "95 % interval of the mean")
    assert [shown[name] for name in ("value", "low", "high")] == pytest.approx(
        [mean / unit, (mean - half) / unit, (mean + half) / unit]
    )
    assert figures["standard_deviation"]["value"] == pytest.approx(deviation / unit)
    assert figures["coefficient_of_variation"]["value"] == pytest.approx(100 * deviation / mean)
    by_length = figures["pruning_weight_per_canopy_metre"]
    assert by_length["value"] == pytest.approx(mean / 2.4 / UNITS[system][by_length["unit"]])
    vines = [figures[name]["value"] for name in ("places", "missing_vines", "vines_weighed", "below_one_unit")]
    assert vines == [12, 2, 8, 1]


def test_targets_and_counts_are_those_of_the_raw_records(desk):
    told = Told.concord(desk, "Tarn Field")
    whole_year(told)
    page = told.page(document_of(desk))
    figures = figures_of(page, "prunings")
    rows = [
        (target_of(float(row.pruning_weight_value)), row.nodes_retained, float(row.scale_resolution_value))
        for row in Raw(told).live(2027)
    ]
    targets = [target for target, _, _ in rows if target is not None]
    kept = [count for _, count, _ in rows if count is not None]
    judged = [(count - target, max(1, math.ceil(10 * step))) for target, count, step in rows if target and count]
    assert figures["mean_target"]["value"] == pytest.approx(statistics.mean(targets))
    assert (figures["total_target"]["value"], figures["total_target"]["n"]) == (sum(targets), len(targets))
    assert figures["mean_kept"]["value"] == pytest.approx(statistics.mean(kept))
    assert figures["total_kept"]["value"] == sum(kept)
    assert figures["mean_difference"]["value"] == pytest.approx(statistics.mean(off for off, _ in judged))
    table = {row["outcome"].split(",")[0]: row["vines"] for row in table_of(page, "prunings", "counts_against_targets")}
    assert table["On target"] == sum(abs(off) <= tolerance for off, tolerance in judged)
    assert table["More nodes than the target"] == sum(off > tolerance for off, tolerance in judged)
    assert table["Fewer nodes than the target"] == sum(-off > tolerance for off, tolerance in judged)
    statuses = [row["vines"] for row in table_of(page, "prunings", "targets_by_status")]
    assert sum(statuses) == 12


def test_a_corrected_weight_counts_as_corrected_and_a_withdrawn_one_not_at_all(desk):
    told = Told.concord(desk, "Upper Terrace")
    records = told.weigh(2027, [2.0, 2.4, 24.0, 1.8, 2.2])
    told.correct("dormant_record", records[2], pruning_weight={"value": 2.4, "unit": "[lb_av]"})
    told.withdraw("dormant_record", records[4])
    figures = figures_of(told.page(document_of(desk, "us")), "prunings")
    raw = [weight / KILOGRAMS["[lb_av]"] for weight in Raw(told).weights(2027)]
    assert sorted(raw) == pytest.approx([1.8, 2.0, 2.4, 2.4])
    assert figures["mean_pruning_weight"]["n"] == 4
    assert figures["mean_pruning_weight"]["value"] == pytest.approx(statistics.mean(raw))
    assert figures["standard_deviation"]["value"] == pytest.approx(statistics.stdev(raw))
    assert figures["total_target"]["value"] == sum(target_of(round(pounds, 9)) or 0 for pounds in raw)


def test_a_block_without_weights_and_one_without_vines_have_a_reason_and_no_number(desk):
    unweighed, bare = Told.concord(desk, "Lower Field"), Told(desk, "Bare Ground", places=0)
    unweighed.send("dormant_record", vine=unweighed.vines[0], observed_at=unweighed.winter(2027), nodes_retained=40)
    document = document_of(desk)
    for told, begins in ((unweighed, "No vine of the block was weighed"), (bare, "No vines of the block")):
        section = told.page(document)["sections"][0]
        assert section["reason"].startswith(begins)
        assert not section["figures"] and not section["tables"] and not section["charts"]
    gaps = figures_of(unweighed.page(document), "data_gaps")
    assert gaps["counted_only"]["value"] == 1


def test_a_young_arm_costs_the_block_the_nodes_that_it_cannot_carry(desk):
    """48 nodes on two cordons: 24 each, and an arm of its first winter carries 10 (North Carolina, READ): 14 lost."""
    told = Told.concord(desk, "Tarn Field")
    told.weigh(2027, [2.8, 2.8])
    cases = f"{desk.yard.url}/cordon-cases"
    noticed = {"vine": told.vines[0], "scope": "cordon", "cordon": "left", "noticed_on": "2025-02-10"}
    case = desk.yard.client.post(cases, noticed, format="json").json()
    for step, day in (("candidate_chosen", "2025-07-10"), ("laid_down", "2026-02-10")):
        moved = desk.yard.client.post(
            f"{cases}/{case['id']}/steps", {"step": step, "happened_on": day}, format="json", headers={"If-Match": "*"}
        )
        assert moved.status_code in {200, 201}, moved.json()
    figures = figures_of(told.page(document_of(desk)), "prunings")
    assert (figures["lost_nodes"]["value"], figures["lost_nodes"]["n"]) == (14, 1)
