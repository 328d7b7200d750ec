"""One document in two systems of units tells the same; a farm of the south, an empty one; no growth with vines."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import pytest

from tests.balance.reports.season_told import South, Told, another_farm, document_of, figures_of, whole_year

#: US units and what one of each is in the unit that metric reports use in its place.
IN_METRIC = {
    "lb": ("kg", 0.45359237),
    "oz": ("g", 0.45359237 / 16 * 1000),
    "lb/ft": ("kg/m", 0.45359237 / 0.3048),
    "short tons/acre": ("t/ha", 0.90718474 / 0.40468564224),
}


def quantities_of(document: dict[str, Any]) -> list[tuple[str, Any, str]]:
    """Give every number of a document but those of charts, with its place and unit."""
    found = []
    figures = [("summary", figure) for line in document["summary"] for figure in line["figures"]]
    for page in document["blocks"]:
        for section in page["sections"]:
            figures += [(section["code"], figure) for figure in section["figures"]]
            for table in section["tables"]:
                for at, row in enumerate(table["rows"]):
                    found += [
                        (f"{table['code']}/{at}/{column['code']}", cell, column["unit"])
                        for column, cell in zip(table["columns"], row, strict=True)
                    ]
    for place, figure in figures:
        for name in ("value", "low", "high", "range_low", "range_high", "n"):
            unit = "" if name == "n" else figure["unit"]
            found.append((f"{place}/{figure['code']}/{name}", figure[name], unit))
    return found


def test_both_systems_of_units_tell_the_same_quantities_and_the_same_words(desk):
    told = Told.concord(desk, "Tarn Field")
    whole_year(told)
    metric, us = (document_of(desk, units) for units in ("metric", "us"))
    here, there = quantities_of(metric), quantities_of(us)
    assert len(here) == len(there) > 250
    converted = 0
    for (place, value, unit), (other_place, other, other_unit) in zip(here, there, strict=True):
        assert place == other_place
        wanted_unit, factor = IN_METRIC.get(other_unit, (other_unit, 1.0))
        assert unit == wanted_unit, place
        if isinstance(other, int | float) and not isinstance(other, bool):
            assert value == pytest.approx(other * factor, rel=1e-8, abs=1e-12), place
            converted += factor != 1
        else:
            assert value == other or "lb" in str(other), place
    assert converted >= 40
    for line, same in zip(metric["summary"], us["summary"], strict=True):
        assert [line[name] for name in ("standing", "why", "confidence", "confidence_why", "next_winter")] == [
            same[name] for name in ("standing", "why", "confidence", "confidence_why", "next_winter")
        ]


def test_a_weight_sent_in_pounds_and_the_same_in_kilograms_change_no_advice(desk):
    """On limits: 1 lb is the formula's first unit, and 522 lb over 12 vines of 2.175 lb are a crop load of 20."""
    pounds, kilograms = Told.concord(desk, "Sent In Pounds"), Told.concord(desk, "Sent In Kilograms")
    for told, unit, factor in ((pounds, "[lb_av]", Decimal(1)), (kilograms, "kg", Decimal("0.45359237"))):
        for season, weights in ((2026, ("1", "2.25", "3.1", "2.4")), (2027, ("1", "2", "3", "2.7"))):
            for vine, weight in zip(told.vines, weights, strict=False):
                sent = {"value": str(Decimal(weight) * factor), "unit": unit}
                told.send("dormant_record", vine=vine, observed_at=told.winter(season), pruning_weight=sent,
                          nodes_retained=41)  # fmt: skip
        told.pick(2026, float(Decimal("522") * factor), unit)
    document = document_of(desk)
    here, there = (quantities_of({"summary": [], "blocks": [told.page(document)]}) for told in (pounds, kilograms))
    for (place, value, _), (_, other, _) in zip(here, there, strict=True):
        assert value == (pytest.approx(other, rel=1e-9) if isinstance(other, float) else other), place
    lines = [told.line(document) for told in (pounds, kilograms)]
    for name in ("standing", "why", "changed", "next_winter", "confidence", "confidence_why"):
        assert lines[0][name] == lines[1][name]


def test_formulas_ranges_and_methods_are_named_once_with_version_and_source(desk):
    for name in ("Tarn Field", "Upper Field"):
        whole_year(Told.concord(desk, name))
    sources = document_of(desk)["sources"]
    known = [(source["code"], source["version"]) for source in sources]
    assert len(known) == len(set(known))
    assert known[0] == ("american-30-10-lb", 1)
    used = {source["code"]: source["used_for"] for source in sources}
    assert used["concord-lake-erie-crop-load"] == "range of yield : pruning weight"
    assert used["concord-juice-new-york-soluble-solids"] == "range of soluble solids at harvest"
    assert {"mean-of-a-sample", "crop-load", "bud-injury", "blank_cordon", "vine-size-trend"} <= set(used)
    assert all(source["source"] and source["mark"] for source in sources)


def test_no_report_writes_weights_in_the_other_system(desk):
    told = Told.concord(desk, "Tarn Field")
    whole_year(told)
    for units, others in (("metric", (" lb", "/ft", "acre")), ("us", (" kg", "/ha", " g."))):
        document = document_of(desk, units)
        document["sources"] = []  # names of formulas say the unit that belongs to them
        said = [
            sentence
            for page in document["blocks"] for section in page["sections"] for sentence in section["sentences"]
            if not sentence.startswith("Formula for")
        ]  # fmt: skip
        said += [each for line in document["summary"] for name in ("changed", "next_winter") for each in line[name]]
        text = " ".join(said).replace("\u00a0", " ")
        assert not [other for other in others if other in text]


def test_the_south_pairs_its_seasons_the_same_way(desk):
    far = another_farm(desk, "Saltbush Rise (invented)")
    told = South.concord(far, "Long Row")
    told.weigh(2026, [2.0, 2.4, 1.8])
    told.weigh(2027, [2.1, 2.2, 1.9])
    told.pick(2026, 300)
    told.pick(2027, 320)
    page = told.page(document_of(far))
    figures = figures_of(page, "crop_load")
    assert figures["crop_load"]["value"] is None
    assert figures["crop_load_of_the_season_before"]["value"] == pytest.approx(300 / (12 * (2.1 + 2.2 + 1.9) / 3))
    assert figures_of(page, "prunings")["vines_weighed"]["value"] == 3


def test_a_farm_without_a_block_and_a_block_without_rows_have_a_report(desk):
    far = another_farm(desk, "Bare Hill (invented)", "north", "America/New_York")
    empty = document_of(far)
    assert (empty["summary"], empty["blocks"]) == ([], [])
    bare = Told(far, "To Be Planted", places=0)
    document = document_of(far, "us")
    page, line = bare.page(document), bare.line(document)
    assert page["vines"] == 0
    assert all(section["reason"] for section in page["sections"])
    assert (line["standing"], line["confidence"]) == ("not_known", "low")


def test_what_a_page_says_does_not_grow_with_its_vines(desk):
    def said(places: int, name: str) -> tuple[int, int]:
        told = Told.concord(desk, name, places)
        told.weigh_all(2027, nodes_retained=40)
        page = told.page(document_of(desk))
        parts = [
            (section["sentences"], section["figures"], [row for table in section["tables"] for row in table["rows"]])
            for section in page["sections"]
        ]
        return sum(len(each) for part in parts for each in part), len(json.dumps(page))

    few, many = said(12, "Few"), said(120, "Many")
    assert abs(few[0] - many[0]) <= 6
    assert many[1] < 1.2 * few[1]


def test_making_a_page_asks_the_database_no_more_for_more_vines(desk, django_assert_max_num_queries):
    from django.db import transaction

    from balance.reports.composing import compose_block
    from balance.reports.quantities import METRIC
    from balance.reports.reading import Reading
    from records.access import enter, open_farm

    counts = []
    for places, name in ((12, "Few"), (120, "Many")):
        told = Told.concord(desk, name, places)
        told.weigh_all(2027)
        with transaction.atomic():
            enter(desk.cast.owner.caller)
            opened = open_farm(desk.cast.owner.caller, desk.cast.farm.pk)
            with django_assert_max_num_queries(90) as asked:
                compose_block(Reading(opened, 2027, METRIC, told.block.received_at), told.block)
            counts.append(len(asked.captured_queries))
    assert abs(counts[0] - counts[1]) <= 2
