"""Data gaps and suspicious records: each is found, counted, and says what to do."""

from __future__ import annotations

import re

import pytest

from tests.balance.reports.season_told import KILOGRAMS, Told, document_of, figures_of, table_of

POUND = KILOGRAMS["[lb_av]"]


def gaps_of(desk, told, **asked):
    page = told.page(document_of(desk, **asked))
    return {code: figure["value"] for code, figure in figures_of(page, "data_gaps").items()}


def test_every_gap_of_a_winter_is_counted(desk):
    told = Told.concord(desk, "Tarn Field")
    told.lose(1, 2026)
    told.lose(2, 2026)
    told.weigh(2027, [2.0, None, 0.0, 2.2], nodes_retained=38)
    told.weigh(2027, [None] * 4 + [2.1], scale_resolution={"value": 0.1, "unit": "[lb_av]"})
    for vine, count in ((told.vines[1], 44), (told.vines[6], 250)):
        told.send("dormant_record", vine=vine, observed_at=told.winter(2027), nodes_retained=count)
    assert gaps_of(desk, told) == {
        "not_weighed": 7,
        "counted_only": 2,
        "without_resolution": 3,
        "without_formula": 0,
        "zero_weights": 1,
        "far_out_weights": 0,
        "too_many_nodes": 1,
        "of_missing_vines": 2,
        "no_harvest": 1,
        "pickings_not_weighed": 0,
        "no_bud_sample": 1,
        "block_not_described": 0,
        "unit_doubts": 0,
        "corrected_records": 0,
        "withdrawn_records": 0,
        "replaced_versions": 0,
    }


def test_each_that_was_found_says_what_to_do_and_the_others_are_left_out(desk):
    told = Told(desk, "Own Seedling")
    told.weigh(2027, [2.0, 2.1])
    page = told.page(document_of(desk))
    found = table_of(page, "data_gaps", "found")
    values = [figure["value"] for code, figure in figures_of(page, "data_gaps").items() if code != "replaced_versions"]
    assert [row["many"] for row in found] == [value for value in values if value]
    assert all(len(row["todo"]) > 10 for row in found)
    what = " ".join(row["what"] for row in found)
    assert "cultivar, vine spacing, area or row spacing, training, use of the fruit" in what
    assert "no formula answers" in what
    assert not [row["todo"] for row in found if re.search(r"[a-z]_[a-z]", row["todo"])]  # no member of the API


def test_corrections_count_with_their_versions_and_withdrawn_records_apart(desk):
    told = Told.concord(desk, "Upper Terrace")
    records = told.weigh(2027, [2.0, 2.4, 24.0, 1.8])
    told.correct("dormant_record", records[2], pruning_weight={"value": 2.6, "unit": "[lb_av]"})
    told.correct("dormant_record", records[2], pruning_weight={"value": 2.4, "unit": "[lb_av]"})
    told.withdraw("dormant_record", records[3])
    told.weigh(2026, [2.0])  # of another season
    gaps = gaps_of(desk, told)
    assert [gaps[name] for name in ("corrected_records", "replaced_versions", "withdrawn_records")] == [1, 2, 1]


@pytest.mark.parametrize(("system", "says"), [("metric", "2.10 kg"), ("us", "4.63 lb")])
def test_pounds_typed_as_kilograms_are_doubted_in_the_units_of_the_report(desk, system, says):
    told = Told.concord(desk, "Tarn Field")
    pounds = [2.0, 2.2, 1.9, 2.1, 2.3, 2.0, 1.8, 2.2, 2.4, 2.1]
    told.weigh(2026, pounds)
    told.weigh(2027, pounds, unit="kg")
    page = told.page(document_of(desk, system))
    assert figures_of(page, "data_gaps")["unit_doubts"]["value"] == 10
    todo = next(row["todo"] for row in table_of(page, "data_gaps", "found") if "another unit" in row["what"])
    assert says in todo.replace("\u00a0", " ")
    assert ("kg" in todo) == (system == "metric")


def test_one_weight_far_outside_the_rest_is_doubted(desk):
    told = Told.concord(desk, "Tarn Field")
    told.weigh(2027, [2.0, 2.2, 1.9, 2.1, 2.3, 2.0, 1.8, 2.2, 21.0])
    assert gaps_of(desk, told)["far_out_weights"] == 1


def test_a_picking_that_was_not_weighed_and_buds_of_an_earlier_winter_are_told(desk):
    told = Told.concord(desk, "Tarn Field")
    told.weigh(2027, [2.0])
    told.send("harvest_record", block=str(told.block.pk), scope="block", observed_at=told.autumn(2027), clusters=100)
    told.send("bud_sample", block=str(told.block.pk), observed_at=told.winter(2025), nodes_examined=50,
              primary_alive=40)  # fmt: skip
    page = told.page(document_of(desk))
    gaps = {code: figure["value"] for code, figure in figures_of(page, "data_gaps").items()}
    assert [gaps[name] for name in ("no_harvest", "pickings_not_weighed", "no_bud_sample")] == [0, 1, 1]
    assert any("The newest is of 2025" in row["todo"] for row in table_of(page, "data_gaps", "found"))
