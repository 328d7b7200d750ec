"""The catalogue of ranges against what is printed: every limit is the printed one, in SI, and none is only remembered."""

from __future__ import annotations

import csv
from decimal import Decimal
from pathlib import Path
from typing import Any

import pint
import pytest

from balance.crops.crop_questions import MEASURES
from records.models import Measure
from records.models.ranges import UNIT_OF

FILE = Path(__file__).resolve().parents[2] / "fixtures" / "catalogue" / "balance_ranges.csv"
with FILE.open(newline="", encoding="utf-8") as _file:
    ROWS = {row["code"]: row for row in csv.DictReader(_file)}
ureg: Any = pint.UnitRegistry()

#: (code, low, high, printed unit) as the sources print them.
PRINTED = [
    ("vinifera-wine-single-crop-load", 4, 10, ""),  # Kliewer & Dokoozlian 2005 (READ)
    ("vinifera-wine-divided-crop-load", 5, 10, ""),  # same (READ)
    ("vinifera-literature-crop-load", 5, 10, ""),  # Practical Winery & Vineyard, June 2017 (READ)
    ("hybrids-indiana-crop-load", 10, 10, ""),  # Purdue, "about 10" (READ)
    ("concord-lake-erie-crop-load", 10, 20, ""),  # Cornell Lake Erie laboratory (READ)
    ("concord-ripe-crop-load", None, 20, ""),  # Bates 2021 (READ)
    ("concord-steady-crop-load", None, 17.5, ""),  # Bates 2021 (READ)
    ("eastern-european-kentucky-crop-load", 13, 18, ""),  # HortScience 41:1011B (READ)
    ("vinifera-wine-single-pruning-weight", 0.5, 1.0, "kg/m"),  # Kliewer & Dokoozlian 2005 (READ)
    ("vinifera-wine-divided-pruning-weight", 0.4, 0.8, "kg/m"),  # same (READ)
    ("chambourcin-pruning-weight-of-row", 0.3, None, "kg/m"),  # Kurtural, Dami, Taylor 2006 (READ)
    ("vinifera-wine-single-leaf-area", 0.8, 1.2, "m^2/kg"),  # Kliewer & Dokoozlian 2005 (READ)
    ("vinifera-wine-divided-leaf-area", 0.5, 0.8, "m^2/kg"),  # same (READ)
    ("moderate-leaf-area", 8, 12, "cm^2/g"),  # wineskills.co.uk (READ*)
    ("vinifera-wine-single-leaf-area-of-canopy", 2, 5, "m^2/m"),  # Kliewer & Dokoozlian 2005 (READ)
    ("vinifera-wine-divided-leaf-area-of-canopy", 2, 4, "m^2/m"),  # same (READ)
    ("vinifera-michigan-shoots", 15, 15, "1/m"),  # Sabbatini (READ)
    ("hybrids-indiana-shoots", 5, 6, "1/foot"),  # Purdue (READ)
    ("ohio-nodes", 4, 6, "1/foot"),  # Ohio State Univ. 2023 (READ)
    ("table-seedless-hybrids-soluble-solids", 14, None, ""),  # UNECE FFV-19 2016 (READ)
    ("table-vinifera-seedless-soluble-solids", 14, None, ""),  # same (READ)
    ("table-vinifera-seeded-soluble-solids", 13, None, ""),  # same (READ)
    ("table-vinifera-early-soluble-solids", 12, None, ""),  # same (READ)
    ("concord-juice-new-york-soluble-solids", 16, None, ""),  # Bates (READ)
    ("concord-juice-arkansas-soluble-solids", 17, None, ""),  # Morris (READ)
]
_SI = {"kg/m": "kg/m", "m2/kg": "m^2/kg", "m2/m": "m^2/m", "/m": "1/m"}


@pytest.mark.parametrize(("code", "low", "high", "unit"), PRINTED, ids=[row[0] for row in PRINTED])
def test_the_limits_are_those_printed_and_rounded_outwards_only(code, low, high, unit):
    """Converted by pint; no limit is moved inwards, so that a vine at the printed limit stays within it."""
    row = ROWS[code]
    for stored, printed, sign in ((row["low"], low, -1), (row["high"], high, 1)):
        assert bool(stored) == (printed is not None)
        if printed is not None:
            exact = (printed * ureg(unit or "1")).to(_SI.get(row["unit"], "")).magnitude if unit else printed
            assert 0 <= sign * (float(stored) - exact) < 1.0001e-5 or float(stored) == pytest.approx(exact, rel=1e-12)


def test_every_row_is_held_to_its_print_here():
    assert {row[0] for row in PRINTED} == set(ROWS)


def test_no_range_that_is_only_remembered_is_shipped():
    """Table grapes 8-12, hybrids 10-15, canes of 20-40 g, 0.30-0.60 kg/m: MEMORY, so none of them is here."""
    assert {row["source_mark"] for row in ROWS.values()} <= {"READ", "READ*"}
    assert "mean_cane_weight" not in {row["measure"] for row in ROWS.values()}


def test_a_row_of_low_authority_or_of_one_figure_gives_no_verdict_by_itself():
    for row in ROWS.values():
        if row["is_default"]:
            assert row["source_mark"] == "READ", row["code"]
            assert row["low"] != row["high"], row["code"]
            assert (row["cultivar"] or row["group"]) and row["use"], row["code"]


def test_of_two_ranges_of_one_measure_group_use_and_canopy_only_one_is_the_default():
    named = [
        tuple(row[name] for name in ("measure", "group", "cultivar", "use", "canopy"))
        for row in ROWS.values()
        if row["is_default"]
    ]
    assert len(named) == len(set(named))


def test_each_range_is_in_the_unit_of_the_figure_that_is_held_against_it():
    for row in ROWS.values():
        measure = Measure(row["measure"])
        assert row["unit"] == UNIT_OF[measure]
        if measure in MEASURES:
            assert MEASURES[measure].unit == UNIT_OF[measure]


def test_a_printed_limit_in_feet_stays_within_its_range():
    """Five shoots on a foot are 16.404199… on a metre, which no five decimals equal."""
    assert Decimal(ROWS["hybrids-indiana-shoots"]["low"]) <= 5 / Decimal("0.3048")


def test_the_standard_for_table_grapes_is_marked_as_a_guide_for_hybrids():
    """trade.md section 13, row 19: UNECE FFV-19 covers vinifera."""
    assert ROWS["table-seedless-hybrids-soluble-solids"]["note"].startswith("Guide only")
