"""The printed rules of spacing, for anybody."""

from __future__ import annotations

from dataclasses import replace

import pytest

from balance.catalogues import FaultyCatalogue
from balance.spacing import UNITS, spacing_rules

pytestmark = pytest.mark.django_db
PLACE = "/api/v1/spacing-rules"


def test_every_rule_is_listed_with_its_source_and_as_printed(cast):
    listed = cast.nobody.get(PLACE).json()
    assert [row["code"] for row in listed] == [rule.code for rule in spacing_rules()]
    assert all(row["source"] and row["printed"] and row["unit"] == UNITS[row["measure"]] for row in listed)


def test_the_list_is_narrowed_by_measure_and_by_group_with_what_is_for_none_in_particular(cast):
    spurs = cast.nobody.get(f"{PLACE}?measure=spur_spacing").json()
    assert spurs and {row["measure"] for row in spurs} == {"spur_spacing"}
    american = cast.nobody.get(f"{PLACE}?group=american&measure=shoots_per_metre").json()
    vinifera = cast.nobody.get(f"{PLACE}?group=vinifera&measure=shoots_per_metre").json()
    assert {row["code"] for row in vinifera} - {row["code"] for row in american} == {"michigan-vinifera-shoots"}


@pytest.mark.parametrize(
    "query", ["measure=width", "measure=", "group=", "groups=vinifera", "measure=spur_spacing&measure=spur_spacing"]
)
def test_what_is_no_filter_is_refused(query, cast):
    assert cast.nobody.get(f"{PLACE}?{query}").status_code == 400


@pytest.mark.parametrize("wrong", [{"low": 9.0}, {"low": 0.0}, {"unit": "/m"}, {"measure": "width"}])
def test_a_row_that_is_no_rule_stops_the_reading_of_the_file(wrong):
    rule = next(rule for rule in spacing_rules("spur_spacing"))
    with pytest.raises(FaultyCatalogue, match="is no rule"):
        replace(rule, **wrong)


def test_only_what_is_counted_a_metre_can_be_counted_on_a_length():
    with pytest.raises(ValueError, match="not counted a metre"):
        next(rule for rule in spacing_rules("spur_spacing")).total_on(2.4)
