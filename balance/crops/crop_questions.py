"""What somebody sends about one vine, row or block: its crop, its prunings, its canopy, and the figures of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from balance.formulas.crops.crop_load import CROP_LOAD, LEAF_AREA_PER_YIELD, check_pairing
from balance.formulas.crops.quotients import Quotient, Ratio, quotient
from balance.formulas.crops.vine_size import (
    LEAF_AREA_PER_METRE,
    MEAN_CANE_WEIGHT,
    PER_CANOPY_METRE,
    PER_ROW_METRE,
    SHOOTS_PER_METRE,
    canopy_length,
)
from balance.formulas.methods import Working
from records.models import Measure


@dataclass(frozen=True)
class CropQuestion:
    """What was measured, in kilograms, metres and square metres; None where it was not.

    ``row_length_m`` is the length of row, or of cordon, and ``canopies`` the curtains of leaves on it.
    """

    yield_kg: float | None
    pruning_kg: float | None
    yield_season: int | None = None
    pruning_season: int | None = None
    row_length_m: float | None = None
    canopies: int = 1
    canes: float | None = None
    count_shoots: float | None = None
    leaf_area_m2: float | None = None

    @property
    def canopy_length_m(self) -> float | None:
        if self.row_length_m is None:
            return None
        return float(canopy_length([self.row_length_m], self.canopies)[0])


@dataclass(frozen=True)
class Found:
    """One figure of the answer: the ratio, its two sides, and what came of it."""

    ratio: Ratio
    over: float | None
    under: float | None
    quotient: Quotient


#: Which figure is about which measure of the ranges, in the order in which they are told.
MEASURES: Final = {
    Measure.YIELD_TO_PRUNING_WEIGHT: CROP_LOAD,
    Measure.PRUNING_WEIGHT_PER_CANOPY_METRE: PER_CANOPY_METRE,
    Measure.PRUNING_WEIGHT_PER_ROW_METRE: PER_ROW_METRE,
    Measure.MEAN_CANE_WEIGHT: MEAN_CANE_WEIGHT,
    Measure.LEAF_AREA_PER_YIELD: LEAF_AREA_PER_YIELD,
    Measure.LEAF_AREA_PER_CANOPY_METRE: LEAF_AREA_PER_METRE,
    Measure.SHOOTS_PER_CANOPY_METRE: SHOOTS_PER_METRE,
}
#: How the two sides of each figure are written in a step.
_UNITS: Final = {
    Measure.YIELD_TO_PRUNING_WEIGHT: ("kg", "kg"),
    Measure.PRUNING_WEIGHT_PER_CANOPY_METRE: ("kg", "m"),
    Measure.PRUNING_WEIGHT_PER_ROW_METRE: ("kg", "m"),
    Measure.MEAN_CANE_WEIGHT: ("g", "canes"),
    Measure.LEAF_AREA_PER_YIELD: ("m2", "kg"),
    Measure.LEAF_AREA_PER_CANOPY_METRE: ("m2", "m"),
    Measure.SHOOTS_PER_CANOPY_METRE: ("shoots", "m"),
}


def figures_of(question: CropQuestion) -> dict[Measure, Found]:
    """Compute every figure that the question has both sides for; the others carry a reason.

    Raises
    ------
    WrongPairing
        Both seasons were told, and the prunings are not of the dormant season that follows the harvest.
    OutOfRange
        A value is none that a block has.
    """
    if question.yield_season is not None and question.pruning_season is not None:
        check_pairing(question.yield_season, question.pruning_season)
    canopy = question.canopy_length_m
    sides = {
        Measure.YIELD_TO_PRUNING_WEIGHT: (question.yield_kg, question.pruning_kg),
        Measure.PRUNING_WEIGHT_PER_CANOPY_METRE: (question.pruning_kg, canopy),
        Measure.PRUNING_WEIGHT_PER_ROW_METRE: (question.pruning_kg, question.row_length_m),
        Measure.MEAN_CANE_WEIGHT: (question.pruning_kg, question.canes),
        Measure.LEAF_AREA_PER_YIELD: (question.leaf_area_m2, question.yield_kg),
        Measure.LEAF_AREA_PER_CANOPY_METRE: (question.leaf_area_m2, canopy),
        Measure.SHOOTS_PER_CANOPY_METRE: (question.count_shoots, canopy),
    }
    return {
        measure: Found(ratio, *sides[measure], quotient(*sides[measure], ratio)) for measure, ratio in MEASURES.items()
    }


def steps_of(question: CropQuestion, found: dict[Measure, Found]) -> list[Working]:
    """Give the steps: the seasons, the length of canopy, and every quotient that came out."""
    return [*_seasons(question), *_canopy(question), *_quotients(found)]


def written(number: float) -> str:
    """Write a number as a hand would check it: to six significant digits, without noise behind them.

    Examples
    --------
    >>> written(9.0718474), written(1300.0), written(0.00045359237)
    ('9.07185', '1300', '0.000453592')
    """
    return f"{number:.6g}"


def pairing_step(yield_season: int) -> Working:
    """Say which prunings belong to a crop."""
    sentence = (
        f"The crop of season {yield_season} goes with the prunings of the dormant season that follows that harvest, "
        f"which bears the year of the harvest after it: season {yield_season + 1}."
    )
    return Working("seasons", sentence, f"{yield_season} + 1 = {yield_season + 1}", None, "1")


def _seasons(question: CropQuestion) -> Iterator[Working]:
    season = question.yield_season
    if season is None and question.pruning_season is not None:
        season = question.pruning_season - 1
    if season is not None:
        yield pairing_step(season)


def _canopy(question: CropQuestion) -> Iterator[Working]:
    length, canopy = question.row_length_m, question.canopy_length_m
    if length is None or canopy is None:
        return
    canopies = f"{question.canopies} canopies" if question.canopies > 1 else "1 canopy"
    divided = "divided" if question.canopies > 1 else "not divided"
    yield Working(
        "canopy length",
        f"The canopy is {divided}: its length is that of the row, or cordon, times {question.canopies}.",
        f"{written(length)} m × {canopies} = {written(canopy)} m",
        canopy,
        "m",
    )


def _quotients(found: dict[Measure, Found]) -> Iterator[Working]:
    for measure, each in found.items():
        value = each.quotient.value
        if value is None or each.over is None or each.under is None:
            continue
        over, under = _UNITS[measure]
        sides = f"{written(each.over * each.ratio.factor)} {over} ÷ {written(each.under)} {under}"
        unit = "" if each.ratio.unit == "1" else f" {each.ratio.unit}"
        yield Working(
            each.ratio.name,
            f"{each.ratio.over} divided by {each.ratio.under[0].lower()}{each.ratio.under[1:]}.",
            f"{sides} = {written(value)}{unit}",
            value,
            each.ratio.unit,
        )
