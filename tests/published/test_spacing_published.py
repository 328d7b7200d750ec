"""Rules of spacing against their printed figures; the source stands beside each number.

READ: the figure was read in the source. READ*: in a source of low authority. COMPUTED: arithmetic on read inputs.
"""

from __future__ import annotations

import pytest

from balance.spacing import SpacingRule, spacing_rules

FOOT = 0.3048
INCH = 0.0254
RULES = {rule.code: rule for rule in spacing_rules()}


def rounded_on(code: str, *feet: float) -> list[float]:
    """Give the lowest and highest count on the shortest and the longest length, in feet."""
    counts = [RULES[code].total_on(length * FOOT) for length in feet]
    return [round(counts[0][0], 3), round(counts[-1][1], 3)]


def test_ohio_prints_20_to_50_buds_on_vines_spaced_5_to_8_ft_at_4_to_6_buds_a_foot():
    """Ohio State Univ., 2023 Grape Pruning Primer (READ): printed 20-50; 5 x 4 and 8 x 6 are 20 and 48 (COMPUTED)."""
    assert rounded_on("ohio-nodes", 5, 8) == [20, 48]
    assert "20 to 50 buds" in RULES["ohio-nodes"].printed


def test_indiana_prints_40_to_50_shoots_on_a_vine_of_8_ft_at_5_to_6_shoots_a_foot():
    """Purdue Univ., Facts for Fancy Fruit (READ): printed 40-50; 8 x 5 and 8 x 6 are 40 and 48 (COMPUTED)."""
    assert rounded_on("indiana-shoots", 8) == [40, 48]
    assert "40 to 50 shoots" in RULES["indiana-shoots"].printed
    rule = RULES["indiana-shoots"]
    assert (round(rule.low, 1), round(rule.high, 1)) == (16.4, 19.7)


def test_michigan_prints_15_shoots_a_metre_which_is_4_6_a_foot():
    """Sabbatini, Michigan State Univ. (READ): both units are printed."""
    assert RULES["michigan-vinifera-shoots"].low == RULES["michigan-vinifera-shoots"].high == 15
    assert round(RULES["michigan-vinifera-shoots"].total_on(FOOT)[0], 1) == 4.6


@pytest.mark.parametrize(
    ("code", "inches", "source"),
    [("north-carolina-spur-spacing", (3, 8), "NC State Extension Gardener, fig. 14-33 (READ)"),
     ("minnesota-spur-spacing", (3, 5), "Klodd 2022, Univ. of Minnesota Extension (READ)"),
     ("grower-spur-spacing", (5, 6), "cooksplace.us, 2013 (READ*)"),
     ("muscadine-young-spur-spacing", (4, 6), "Georgia muscadine guide, sec. 19 (READ)"),
     ("muscadine-spur-spacing", (12, 12), "Georgia muscadine guide, sec. 19 (READ)")],
)  # fmt: skip
def test_spurs_stand_as_far_apart_as_is_printed_in_inches(code, inches, source):
    rule = RULES[code]
    assert (rule.low / INCH, rule.high / INCH) == pytest.approx(inches, rel=1e-9), source


@pytest.mark.parametrize(
    ("code", "counts", "source"),
    [("north-carolina-spurs", (8, 15), "NC State Extension Gardener, fig. 14-33 (READ)"),
     ("north-carolina-nodes-of-a-spur", (2, 2), "NC State Extension Gardener, fig. 14-33 (READ)"),
     ("minnesota-nodes-of-a-spur", (2, 3), "Klodd 2022, Univ. of Minnesota Extension (READ)"),
     ("muscadine-nodes-of-a-spur", (2, 4), "Georgia muscadine guide, sec. 19 (READ)")],
)  # fmt: skip
def test_spurs_and_their_nodes_are_as_many_as_is_printed(code, counts, source):
    assert (RULES[code].low, RULES[code].high) == counts, source


def test_nothing_that_is_only_remembered_is_shipped_and_no_code_stands_twice():
    rules = spacing_rules()
    assert {rule.source_mark for rule in rules} <= {"READ", "READ*"}
    assert len({(rule.code, rule.version) for rule in rules}) == len(rules)
    assert all(isinstance(rule, SpacingRule) and rule.printed for rule in rules)
