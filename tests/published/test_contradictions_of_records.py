"""Where sources contradict each other about what is written down, the record keeps what tells them apart.

The rows are those of trade.md, section 13; the sources of each stand there and beside the test.
"""

from __future__ import annotations

import pytest

from balance.advice import CAUTIONS
from records.kinds.definitions import CORDON_INSPECTION, DORMANT_RECORD, HARVEST_RECORD, SHOOT_COUNT
from tests.records.yard import Yard

pytestmark = pytest.mark.django_db


@pytest.fixture
def yard(cast) -> Yard:
    return Yard(cast)


def fault_of(answer) -> tuple[int, str]:
    return answer.status_code, answer.json()["errors"][0]["pointer"]


def test_counts_from_count_nodes_and_from_base_buds_are_two_numbers(yard):
    """Row 9: beginners count base buds, too; a count node is clearly separated from older wood (Westover 2016, READ)."""
    shown = yard.post(SHOOT_COUNT, yard.new(SHOOT_COUNT, count_shoots=27, non_count_shoots=8)).json()
    assert (shown["count_shoots"], shown["non_count_shoots"]) == (27, 8)
    names = DORMANT_RECORD.by_name
    assert "Base buds do not count" in names["nodes_retained"].says
    assert not any("non_count" in name for name in names)


@pytest.mark.parametrize(
    ("scale", "code"), [("eichhorn_lorenz", "05"), ("modified_eichhorn_lorenz", "4"), ("bbch", "09")]
)
def test_bud_burst_is_another_code_on_each_scale_and_none_goes_without_its_scale(scale, code, yard):
    """Row 21: Eichhorn and Lorenz 1977 (READ), Coombe 1995 (codes MEMORY), Lorenz et al. 1994 (READ)."""
    shown = yard.post(SHOOT_COUNT, yard.new(SHOOT_COUNT, growth_stage={"scale": scale, "code": code}))
    assert shown.status_code == 201, shown.json()
    assert shown.json()["growth_stage"] == {"scale": scale, "code": code}
    bare = yard.new(SHOOT_COUNT, vine=str(yard.vines[1].pk), growth_stage={"code": code})
    assert fault_of(yard.post(SHOOT_COUNT, bare)) == (400, "#/growth_stage/scale")


def test_acidity_names_its_unit_and_the_acid_that_it_is_given_as(yard):
    """Row 22: g/L, % and meq/L are all printed; Crop Ontology CO_356:1000232 is in meq/L, which names no mass (READ)."""
    acidity = {"value": 7.5, "unit": "g/L"}
    told = yard.new(HARVEST_RECORD, titratable_acidity=acidity, reference_acid="tartaric")
    assert yard.post(HARVEST_RECORD, told).status_code == 201
    without = yard.new(HARVEST_RECORD, picking=2, titratable_acidity=acidity, reference_acid=None)
    assert fault_of(yard.post(HARVEST_RECORD, without))[0] == 422
    in_equivalents = {"value": 100, "unit": "meq/L"}
    other = yard.new(HARVEST_RECORD, picking=3, titratable_acidity=in_equivalents, reference_acid="tartaric")
    assert fault_of(yard.post(HARVEST_RECORD, other))[1].startswith("#/titratable_acidity")


def test_a_berry_in_milligrams_and_in_grams_is_one_weight(yard):
    """Row 22: CO_356:1000215 gives the berry's weight in milligrams despite its name (READ)."""
    known = []
    for picking, weight in ((1, {"value": 4500, "unit": "mg"}), (2, {"value": 4.5, "unit": "g"})):
        answer = yard.post(HARVEST_RECORD, yard.new(HARVEST_RECORD, picking=picking, berry_weight=weight))
        assert answer.status_code == 201, answer.json()
        assert answer.json()["berry_weight"]["value"] == weight["value"]
        known.append(answer.json()["berry_weight"]["kg"])
    assert known == [0.0045, 0.0045]


def test_blank_cordon_is_recorded_and_nobody_is_told_what_share_is_too_much(yard):
    """Row 23: 'at 30 %' is a virus figure; no source prints a share of blank cordon at which to act."""
    sent = yard.new(CORDON_INSPECTION, living_positions=3, blank_positions=9)
    shown = yard.post(CORDON_INSPECTION, sent).json()
    assert (shown["living_positions"], shown["blank_positions"]) == (3, 9)
    assert not {"verdict", "status", "replace", "due"} & shown.keys()


def test_a_cordon_that_was_diseased_may_be_seen_healthy_a_year_later(yard):
    """Row 24: 15.4 % of vines with symptoms had none the year after (Bordeaux 2004-2017, COMPUTED); nothing is latched."""
    told = []
    for year, signs in ((2025, ["tiger_striped_leaves"]), (2026, [])):
        sent = yard.new(CORDON_INSPECTION, disease_signs=signs, observed_at=f"{year}-08-10T09:00:00-04:00")
        answer = yard.post(CORDON_INSPECTION, sent)
        assert answer.status_code == 201, answer.json()
        told.append(answer.json()["disease_signs"])
    assert told == [["tiger_striped_leaves"], []]


def test_sharp_tools_are_a_caution_and_no_claim_is_made_about_cleaning_them():
    """Row 26: tool-borne transfer is called negligible by one source (READ*), wiping is advised by others: no claim."""
    said = " ".join(CAUTIONS).lower()
    assert "sharp tools" in said
    assert "local" in said
    assert not any(word in said for word in ("disinfect", "sterilise", "wipe", "bleach"))


def test_what_to_do_in_doubt_is_told_as_both_sayings_that_are_in_print():
    """Leave more, extension on pruning; leave too few, Zabadal 2002, Michigan State E-2774, table grapes (READ)."""
    assert any("In doubt leave more" in caution and "too few rather than too many" in caution for caution in CAUTIONS)
