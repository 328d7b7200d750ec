"""Which figures of many farms are told, which are withheld, and why."""

from __future__ import annotations

import pytest

from balance.formulas.errors import OutOfRange
from balance.formulas.privacy.cells import CellAnswer, Release, release_cells, rounded
from balance.formulas.privacy.hierarchy import TOTAL, Contribution, Dimension, Hierarchy, gather, single_margins
from balance.formulas.privacy.rules import RULES, PrivacyRules, Withheld, why_withheld

REGIONS = single_margins({"region": ("north", "middle", "south", "west")})
CROSSED = single_margins({"region": ("north", "south"), "training": ("low", "high")})


def farms(**regions: int) -> list[Contribution]:
    """So many farms of one size in each region."""
    return [
        Contribution(f"{region} {n}", 2.0, 1.0, (region,)) for region, count in regions.items() for n in range(count)
    ]


def of_sizes(*values: float) -> list[Contribution]:
    return [Contribution(f"farm {n}", value, 1.0, ()) for n, value in enumerate(values)]


def answer(release: Release, *labels: tuple[str, str]) -> CellAnswer:
    return next(each for each in release.answers if each.cell == labels)


def reason(parts: list[Contribution], rules: PrivacyRules = RULES) -> str | None:
    withheld = why_withheld(parts, rules)
    return withheld.code if withheld else None


def code(release: Release, *labels: tuple[str, str]) -> str | None:
    withheld = answer(release, *labels).withheld
    return withheld.code if withheld else None


def test_a_cell_takes_five_farms_besides_the_readers_own():
    assert reason(of_sizes(*[1.0] * 5)) == "too_few_farms"
    assert reason(of_sizes(*[1.0] * 6)) is None


def test_many_blocks_of_one_farm_are_one_farm():
    assert reason([Contribution("one", 1, 1, ()) for _ in range(20)]) == "too_few_farms"


def test_a_farm_that_brings_nothing_hides_nobody():
    assert reason(of_sizes(1, 1, 1, 1, 1, 0, 0, 0)) == "too_few_farms"


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ((60, 8, 8, 8, 8, 8), None),  # 60 % of 100
        ((61, 8, 8, 8, 8, 8), "largest_too_large"),
        ((45, 40, 5, 4, 3, 3), None),  # 85 % of 100
        ((45, 41, 5, 4, 3, 3), "two_largest_too_large"),
    ],
)
def test_one_farm_or_two_are_not_nearly_all_of_a_cell(values, told):
    """Limits of api.md: the largest at most 60 %, the two largest at most 85 %; (n,k) rule, from memory."""
    assert reason(of_sizes(*values)) == told


def test_a_farm_may_not_be_nearly_all_of_the_weight_either():
    heavy = [Contribution(f"farm {n}", 1.0, 50.0 if n == 0 else 1.0, ()) for n in range(8)]
    assert reason(heavy) == "largest_too_large"


def test_the_second_largest_comes_no_nearer_to_the_largest_than_the_percent_asks():
    """40, 30 and 30 more: the others are 75 % of the largest.  p % rule, from memory."""
    values = (40, 30, 10, 10, 5, 5)
    assert reason(of_sizes(*values), PrivacyRules(percent=0.75)) is None
    assert reason(of_sizes(*values), PrivacyRules(percent=0.76)) == "others_too_small"


@pytest.mark.parametrize(
    "wider",
    [
        {"fewest_others": 4},
        {"largest_share": 0.61},
        {"two_largest_share": 0.9},
        {"percent": 0.09},
        {"digits": 4},
        {"largest_share": float("nan")},
    ],
)
def test_limits_may_be_drawn_tighter_and_never_wider(wider):
    with pytest.raises(OutOfRange):
        PrivacyRules(**wider)
    PrivacyRules(fewest_others=9, largest_share=0.4, two_largest_share=0.6, percent=0.3, digits=2)


def test_where_all_cells_are_large_all_are_told():
    release = release_cells(farms(north=8, middle=9, south=12, west=20), REGIONS)
    assert release.told == frozenset(REGIONS.cells())
    assert [each.farms for each in release.answers] == ["20+", "5-9", "5-9", "10-19", "20+"]


def test_one_small_cell_takes_the_next_smallest_with_it():
    release = release_cells(farms(north=8, middle=9, south=3, west=20), REGIONS)
    assert code(release, ("region", "south")) == "too_few_farms"
    assert code(release, ("region", "north")) == "protects_others"
    assert release.told == {TOTAL, (("region", "middle"),), (("region", "west"),)}


def test_two_small_cells_that_are_large_together_protect_each_other():
    release = release_cells(farms(north=3, middle=4, south=12, west=20), REGIONS)
    assert {code(release, ("region", name)) for name in ("south", "west")} == {None}


def test_farms_without_a_label_are_protected_like_a_cell():
    without_region = [Contribution(f"nowhere {n}", 2.0, 1.0, (None,)) for n in range(2)]
    release = release_cells(farms(north=8, south=12) + without_region, REGIONS)
    assert code(release, ("region", "north")) == "protects_others"
    assert code(release, ("region", "south")) is None


def test_a_withheld_cell_is_not_told_by_another_division():
    """All farms of the north train low, and one more: low − north would be that one."""
    north = [Contribution(f"north {n}", 2.0, 1.0, ("north", "low")) for n in range(8)]
    south = [Contribution(f"south {n}", 2.0, 1.0, ("south", "high")) for n in range(9)]
    odd_one = [Contribution("odd", 2.0, 1.0, ("south", "low"))]
    told = release_cells(north + south + odd_one, CROSSED).told
    assert TOTAL in told
    assert not {(("region", "north"),), (("training", "low"),)} <= told
    assert not {(("region", "south"),), (("training", "high"),)} <= told


def test_a_region_is_divided_further_only_as_far_as_it_protects():
    deeper = Hierarchy(
        (Dimension("region", ("north", "south")), Dimension("training", ("low", "high"))),
        (("region",), ("region", "training")),
    )
    everyone = [Contribution(f"s {n}", 2.0, 1.0, ("south", "low" if n < 7 else "high")) for n in range(14)]
    everyone += [Contribution(f"n {n}", 2.0, 1.0, ("north", "low" if n < 7 else "high")) for n in range(9)]
    release = release_cells(everyone, deeper)
    assert code(release, ("region", "north")) is None
    assert code(release, ("region", "north"), ("training", "high")) == "too_few_farms"
    assert code(release, ("region", "north"), ("training", "low")) == "protects_others"
    assert code(release, ("region", "south"), ("training", "low")) is None


def test_empty_and_withheld_cells_look_the_same_to_a_reader():
    release = release_cells(farms(north=8, south=3, middle=4), REGIONS)
    empty, withheld = answer(release, ("region", "west")), answer(release, ("region", "south"))
    assert code(release, ("region", "west")) == "no_farms"
    assert (empty.mean, empty.base, empty.farms) == (withheld.mean, withheld.base, withheld.farms) == (None, None, None)


def test_a_program_without_farms_tells_nothing():
    release = release_cells([], REGIONS)
    assert release.told == frozenset()
    assert {each.withheld.code for each in release.answers if each.withheld} == {"no_farms"}


def test_each_withheld_cell_says_why_in_a_sentence_that_names_no_farm():
    release = release_cells(farms(north=8, middle=9, south=3, west=20), REGIONS)
    sentences = [each.withheld.sentence for each in release.answers if each.withheld]
    assert len(sentences) == 2
    assert all(text.endswith(".") and "north 1" not in text and "south 1" not in text for text in sentences)
    assert "it takes 6, which is 5 besides whoever reads it" in sentences[1]
    assert "what is left of the total" in sentences[0]


def test_what_is_held_back_from_outside_is_protected_like_any_other():
    whole = release_cells(farms(north=8, middle=9, south=12, west=20), REGIONS)
    why = Withheld("asked_for", "The program asked for it.")
    held = release_cells(farms(north=8, middle=9, south=12, west=20), REGIONS, held_back={(("region", "west"),): why})
    assert len(whole.told) == 5
    assert code(held, ("region", "west")) == "asked_for"
    assert code(held, ("region", "north")) == "protects_others"


def test_what_is_told_is_a_weighted_mean_in_three_digits():
    mixed = [Contribution(f"farm {n}", 1.2345 * (n + 1), n + 1.0, ("north",)) for n in range(8)]
    told = answer(release_cells(mixed, REGIONS))
    assert (told.mean, told.base) == (1.23, 0.01)
    assert answer(release_cells(mixed, REGIONS, PrivacyRules(digits=2))).mean == 1.2


@pytest.mark.parametrize(
    ("number", "expected"),
    [(123456.0, (123000.0, 1000.0)), (0.99951, (1.0, 0.01)), (9.995, (9.99, 0.01)), (1e-300, (1e-300, 1e-302))],
)
def test_a_number_is_rounded_to_a_stated_base(number, expected):
    """9.995 is a little less in binary: it rounds down."""
    assert rounded(number, 3) == expected


@pytest.mark.parametrize(
    "wrong",
    [
        Contribution("farm", -1, 1, ("north",)),
        Contribution("farm", float("nan"), 1, ("north",)),
        Contribution("farm", float("inf"), 1, ("north",)),
        Contribution("farm", 1, 0, ("north",)),
        Contribution("farm", 1, float("nan"), ("north",)),
        Contribution("farm", 1, 1, ("elsewhere",)),
        Contribution("farm", 1, 1, ()),
    ],
)
def test_what_no_cell_can_take_is_refused(wrong):
    with pytest.raises(OutOfRange):
        gather([wrong], REGIONS)


@pytest.mark.parametrize("margins", [((),), (("soil",),), (("region", "training"),), (("region",), ("region",))])
def test_a_margin_stands_once_and_below_the_one_that_it_divides(margins):
    with pytest.raises(OutOfRange):
        Hierarchy(CROSSED.dimensions, margins)
