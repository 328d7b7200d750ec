"""Bud injury against published rules; the source stands beside each number.

READ: the figure was read in the source. COMPUTED: arithmetic on read inputs. MEMORY: from memory.
"""

from __future__ import annotations

import pytest
from statsmodels.stats.proportion import proportion_confint

from balance.buds.published import (
    adjustment_named,
    adjustments,
    newest_adjustments,
    published_fruitfulness,
    sampling_advice,
)
from balance.formulas.buds.adjusted_targets import AdjustedTarget, adjust_target
from balance.formulas.buds.bud_adjustments import Adjustment, judge_injury
from balance.formulas.buds.bud_explanation import why_no_number
from balance.formulas.buds.bud_injury import bud_injury, crop_potential

CORNELL, NORTHERN, MICHIGAN, PURDUE, SURVIVAL = (
    "cornell-nny-2014", "northern-grapes-project-2014", "msu-e2774-2002", "purdue-double-pruning", "survival-rule",
)  # fmt: skip


def named(code: str) -> Adjustment:
    found = adjustment_named(code)
    assert found is not None
    return found


def adjusted(code: str, dead: int, normal: float = 40, of: int = 100) -> AdjustedTarget:
    return adjust_target(named(code), bud_injury(of, of - dead), normal)


def status(code: str, injury: float) -> str:
    return judge_injury(named(code), injury).status


def test_35_percent_of_40_buds_is_54_by_cornell():
    """Cornell NNY grape update, 28 Feb 2014: '35 % injured, leave 35 % more' (rule READ; value COMPUTED)."""
    assert adjusted(CORNELL, 35).nodes == 54


def test_35_percent_of_40_buds_is_61_5_by_the_survival_rule():
    """Taught in Ohio, Virginia and Missouri (MEMORY): 40 / (1 - 0.35) = 61.5 (COMPUTED)."""
    by_survival = adjusted(SURVIVAL, 35)
    assert (round(by_survival.unrounded or 0, 1), by_survival.nodes) == (61.5, 62)
    assert named(SURVIVAL).method.mark == "MEMORY"


@pytest.mark.parametrize(
    ("dead", "nodes", "said"),
    [(10, 40, "ok"), (20, 54, "ok"), (45, 60, "ok"), (60, None, "beyond_upper_limit"), (30, None, "ambiguous_band")],
)
def test_purdues_bands_give_40_54_60_and_no_number_where_they_overlap_or_end(dead, nodes, said):
    """Purdue, Facts for Fancy Fruit, double pruning (table READ; values COMPUTED): 35 % more, 50 % more, minimal."""
    by_bands = adjusted(PURDUE, dead)
    assert (by_bands.nodes, by_bands.judged.status) == (nodes, said)


def test_concord_with_40_of_100_primaries_dead_and_secondaries_alive_could_bear_74_percent():
    """Howell, Michigan State Univ., grapes.extension.org 2019: a secondary bears about 35 % (READ); 74 COMPUTED."""
    assert crop_potential(100, 60, 100, 35).percent == 74


def test_a_secondary_counts_for_nothing_unless_somebody_says_what_it_bears():
    """trade.md section 13, row 11: 35 % (Michigan State, READ) against unfruitful in Concord (Cornell 2012, READ)."""
    said = {row.code: row.percent_of_primary for row in published_fruitfulness("concord")}
    assert said == {"msu-concord": 35, "cornell-concord": 0}
    assert published_fruitfulness("marquette") == ()
    assert crop_potential(100, 60, 100, 0).percent == 60


LIMITS = [
    (CORNELL, 19.99, "ok"), (CORNELL, 20, "ok"), (CORNELL, 80, "ok"), (CORNELL, 80.01, "beyond_upper_limit"),
    (NORTHERN, 20, "ok"), (NORTHERN, 20.01, "no_number_printed"),
    (MICHIGAN, 15, "ok"), (MICHIGAN, 15.01, "undefined_gap"), (MICHIGAN, 19.99, "undefined_gap"),
    (MICHIGAN, 20, "ok"), (MICHIGAN, 50, "ok"), (MICHIGAN, 50.01, "beyond_upper_limit"),
    (PURDUE, 14.99, "ok"), (PURDUE, 15, "ambiguous_band"), (PURDUE, 15.01, "ok"), (PURDUE, 24.99, "ok"),
    (PURDUE, 25, "ambiguous_band"), (PURDUE, 35, "ambiguous_band"), (PURDUE, 35.01, "ok"), (PURDUE, 50, "ok"),
    (PURDUE, 50.01, "beyond_upper_limit"), (SURVIVAL, 99.9, "ok"), (SURVIVAL, 100, "beyond_upper_limit"),
]  # fmt: skip


@pytest.mark.parametrize(("code", "injury", "said"), LIMITS)
def test_each_method_stops_where_its_source_stops(code, injury, said):
    """trade.md section 3, adjustment tables (READ; the survival rule MEMORY), and section 13, row 10."""
    assert status(code, injury) == said


@pytest.mark.parametrize(("code", "injury"), [(code, injury) for code, injury, said in LIMITS if said != "ok"])
def test_where_there_is_no_number_there_is_a_reason_with_a_way_out(code, injury):
    found = named(code)
    judged = judge_injury(found, injury)
    reason = why_no_number(found, judged, injury)
    assert judged.factor is None
    assert reason is not None and "extension" in reason


def test_the_methods_contradict_each_other_and_none_answers_for_another():
    """trade.md section 13, row 10: at 35 dead of 100 and 40 buds."""
    said = {each.code: adjust_target(each, bud_injury(100, 65), 40).nodes for each in newest_adjustments()}
    assert said == {CORNELL: 54, NORTHERN: None, MICHIGAN: 54, PURDUE: None, SURVIVAL: 62}


def test_each_method_carries_its_source_and_only_what_was_read_is_marked_so():
    marks = {each.code: [band.source_mark for band in each.bands] for each in adjustments()}
    assert marks[CORNELL] == ["READ", "READ", "MEMORY"]  # the text that was read breaks off above 80 %
    assert {mark for code in (NORTHERN, MICHIGAN, PURDUE) for mark in marks[code]} == {"READ"}
    assert marks[SURVIVAL] == ["MEMORY"]


@pytest.mark.parametrize(("examined", "printed"), [(50, 13), (100, 9.3)])
def test_the_interval_of_35_percent_is_at_least_as_wide_as_printed(examined, printed):
    """trade.md section 3: n = 50 gives +-13 points, n = 100 +-9.3 (COMPUTED by the normal distribution).

    The exact interval reaches a little farther, which is the price of never claiming too much.
    """
    low, high = proportion_confint(0.35 * examined, examined, method="normal")
    assert 50 * (high - low) == pytest.approx(printed, abs=0.25)
    injury = bud_injury(examined, round(0.65 * examined))
    assert printed - 0.3 < injury.margin_percent < printed + 2


def test_sampling_advice_says_how_many_buds_and_from_where():
    """Cornell NNY 2014; Maryland 2018; Finger Lakes Grape Program; MSU E-2774: all READ."""
    said = {row.code: row for row in sampling_advice()}
    cornell, maryland, michigan = said["cornell-nny-2014"], said["maryland-2018"], said["msu-e2774-2002"]
    assert (cornell.buds_from, cornell.buds_to, cornell.canes_from, cornell.canes_to) == (50, 100, 6, 10)
    assert (maryland.buds_from, maryland.first_node, maryland.last_node) == (100, 2, 10)
    assert (michigan.buds_from, michigan.buds_to) == (10, 100)
    assert {row.source_mark for row in said.values()} == {"READ"}


def test_an_unknown_method_is_no_method():
    assert [adjustment_named(name) for name in ("none-such", f"{CORNELL}@9", f"{CORNELL}@x", "")] == [None] * 4
    assert named(f"{CORNELL}@1") is named(CORNELL)
