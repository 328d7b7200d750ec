"""Crop load and vine size as they are shown."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict
from decimal import Decimal
from typing import Any, Final

from rest_framework import serializers

from balance.api.figures import ComputedOut, FigureOut, MethodOut, computed, figure, given
from balance.crops.crop_questions import CropQuestion, Found, figures_of, steps_of, written
from balance.crops.crop_words import NO_RANGE
from balance.formulas.crops import vine_size
from balance.formulas.crops.crop_load import HEAVY_AND_UNRIPE, LIGHT_AND_UNRIPE, METHOD, ripeness_flag
from balance.formulas.methods import Working
from balance.formulas.targets.explanation import plain, symbol
from records.models import Measure
from records.models.ranges import UNIT_OF
from records.units import CANONICAL, Quantity, to_canonical

NO_SOLIDS: Final = "Soluble solids were not measured."
ONE_CANOPY: Final = "The number of canopies was not said; one is reckoned with. On a divided canopy send canopies: 2."


#: What each quantity of a request measures.
DIMENSIONS: Final = {
    "yield": "mass",
    "pruning_weight": "mass",
    "row_length": "length",
    "leaf_area": "area",
    "soluble_solids": "soluble_solids",
}


class FlagOut(serializers.Serializer[Any]):
    """Something to look at, with what it means."""

    code = serializers.ChoiceField(choices=[HEAVY_AND_UNRIPE, LIGHT_AND_UNRIPE])
    sentence = serializers.CharField()


class CropLoadOut(ComputedOut):
    """Crop load and vine size of what was sent."""

    size_method = MethodOut(help_text="Of the figures other than the crop load.")
    crop_load = FigureOut()
    pruning_weight_per_canopy_metre = FigureOut()
    pruning_weight_per_row_metre = FigureOut()
    mean_cane_weight = FigureOut()
    leaf_area_per_yield = FigureOut()
    leaf_area_per_canopy_metre = FigureOut()
    shoots_per_canopy_metre = FigureOut()
    soluble_solids = FigureOut()
    flags = FlagOut(many=True)


def shown(
    question: CropQuestion,
    found: Mapping[Measure, Found],
    ranges: Mapping[str, Mapping[str, Any]],
    values: Mapping[str, Any],
) -> dict[str, Any]:
    """Give the answer: each figure with its range and verdict, and what is flagged."""
    figures = {
        _name(measure): figure(
            each.quotient.value, each.ratio.unit, reason=each.quotient.reason, assigned=ranges.get(measure)
        )
        for measure, each in found.items()
    }
    figures["soluble_solids"] = solids(values.get("soluble_solids"), ranges.get(Measure.SOLUBLE_SOLIDS))
    return {
        **computed(
            METHOD,
            _inputs(question, values),
            [*_conversions(values), *steps_of(question, dict(found))],
            more=_cautions(values, figures),
        ),
        "size_method": asdict(vine_size.METHOD),
        **figures,
        "flags": flags(figures["crop_load"], figures["soluble_solids"]),
    }


def solids(sent: Quantity | float | None, assigned: Mapping[str, Any] | None) -> dict[str, Any]:
    """Show soluble solids [degrees Brix] against their range."""
    brix = float(to_canonical(sent, "soluble_solids")) if isinstance(sent, Quantity) else sent
    unit = UNIT_OF[Measure.SOLUBLE_SOLIDS]
    return figure(brix, unit, reason=NO_SOLIDS if brix is None else None, assigned=assigned)


def flags(crop_load: Mapping[str, Any], soluble_solids: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Flag fruit that did not ripen; what the range of its soluble solids says of itself stands beside it."""
    flag = ripeness_flag(crop_load["verdict"], soluble_solids["verdict"])
    if flag is None:
        return []
    code, sentence = flag
    note = soluble_solids["range"]["note"]
    return [{"code": code, "sentence": f"{sentence} {note}".strip()}]


def _name(measure: Measure) -> str:
    return "crop_load" if measure == Measure.YIELD_TO_PRUNING_WEIGHT else measure.value


def _inputs(question: CropQuestion, values: Mapping[str, Any]) -> list[dict[str, Any]]:
    return [
        given("yield", values.get("yield"), "kg"),
        given("yield_season", question.yield_season),
        given("pruning_weight", values.get("pruning_weight"), "kg"),
        given("pruning_season", question.pruning_season),
        given("row_length", values.get("row_length"), "m"),
        given("canopies", question.canopies),
        given("cane_count", question.canes),
        given("count_shoots", question.count_shoots),
        given("leaf_area", values.get("leaf_area"), "m2"),
        given("soluble_solids", values.get("soluble_solids"), "{Brix}"),
    ]


def _conversions(values: Mapping[str, Any]) -> Iterator[Working]:
    """Say of what was sent in another unit how much it is in the one that is reckoned in."""
    for name, dimension in DIMENSIONS.items():
        sent = values.get(name)
        if sent is None or sent.unit == CANONICAL[dimension]:
            continue
        exact, unit = float(to_canonical(sent, dimension)), CANONICAL[dimension]
        said = f"{plain(sent.value, 6)} {symbol(sent.unit)}"
        label = name.replace("_", " ")
        yield Working(label, f"{said} in {unit}.", f"{said} = {written(exact)} {unit}", exact, unit)


def _cautions(values: Mapping[str, Any], figures: Mapping[str, Any]) -> list[str]:
    said = []
    if figures["crop_load"]["value"] is not None and figures["crop_load"]["range"] is None:
        said.append(NO_RANGE)
    if values.get("row_length") is not None and values.get("canopies") is None:
        said.append(ONE_CANOPY)
    return said


RANGE_EXAMPLE: Final[dict[str, Any]] = {
    "code": "concord-lake-erie-crop-load",
    "version": 1,
    "low": 10.0,
    "high": 20.0,
    "unit": "1",
    "applies_to": "Concord, juice, Lake Erie",
    "level": "cultivar",
    "source": "Cornell Lake Erie Research and Extension Laboratory, note on Concord nodes and crop load",
    "mark": "READ",
    "note": "Printed 10-20 with a target of 15, at 16 Brix.",
}


def _example() -> dict[str, Any]:
    crop, wood = Quantity(Decimal(23), "[lb_av]"), Quantity(Decimal("2.3"), "[lb_av]")
    length, brix = Quantity(Decimal(8), "[ft_i]"), Quantity(Decimal("16.2"), "{Brix}")
    question = CropQuestion(23 * 0.45359237, 2.3 * 0.45359237, 2026, 2027, row_length_m=2.4384, canes=48)
    values = {"yield": crop, "pruning_weight": wood, "row_length": length, "canopies": 1, "soluble_solids": brix}
    return shown(question, figures_of(question), {Measure.YIELD_TO_PRUNING_WEIGHT: RANGE_EXAMPLE}, values)


EXAMPLE: Final = _example()
