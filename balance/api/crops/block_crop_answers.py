"""The crop load of a block as it is shown: of the whole, of its samples, and of every vine picked by itself."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from rest_framework import serializers

from balance.api.crops.crop_answers import FlagOut, solids
from balance.api.figures import VERDICTS, ComputedOut, FigureOut, computed, figure, given
from balance.api.table_json import ids, members, numbers, rows_as_json, words
from balance.crops.block_crops import PAIRED_VINES, SAMPLES, WHOLE_BLOCK, BlockLoad, Crop, loads_of
from balance.crops.crop_questions import pairing_step, written
from balance.crops.crop_words import NO_RANGE
from balance.crops.crops_by_vine import VineCrops
from balance.crops.vine_sizes import rounded
from balance.formulas.crops import quotients
from balance.formulas.crops.crop_load import METHOD
from balance.formulas.crops.quotients import Quotients
from balance.formulas.crops.winters import Winter, winter_of
from balance.formulas.methods import Working
from balance.formulas.ranges import Range, judge_all

#: What each status of a quotient is called where it is the crop load of a vine.
STATUSES: Final = {
    quotients.OK: "ok",
    quotients.OVER_MISSING: "yield_not_weighed",
    quotients.UNDER_MISSING: "prunings_not_weighed",
    quotients.BOTH_MISSING: "neither_weighed",
    quotients.UNDER_ZERO: "no_prunings",
    quotients.BEYOND: "beyond_any_vine",
}
OF_VINES: Final = (
    "A vine's own ratio swings with its own errors of weighing: judge the block, and look at single vines."
)


class BlockLoadOut(FigureOut):
    """A crop load of the block on one basis, with its two sides."""

    yield_kg = serializers.FloatField(allow_null=True, help_text="[kg]; by samples: of a mean vine.")
    pruning_weight_kg = serializers.FloatField(
        allow_null=True, help_text="Of the winter after [kg]: the mean of the vines weighed times `vines`."
    )
    vines = serializers.IntegerField(allow_null=True, help_text="Vines that both sides are of.")
    low = serializers.FloatField(
        allow_null=True, help_text="Lower end of the 95 % interval; only the mean of the prunings is uncertain in it."
    )
    high = serializers.FloatField(allow_null=True, help_text="Upper end; null: no interval, or without end.")


class VineLoadOut(serializers.Serializer[Any]):
    """The crop load of one vine that was picked by itself."""

    vine = serializers.UUIDField()
    row_number = serializers.IntegerField()
    place = serializers.IntegerField()
    label = serializers.CharField()  # type: ignore[assignment]
    record = serializers.UUIDField(allow_null=True, help_text="The dormant record of the winter after; null: none.")
    yield_kg = serializers.FloatField(allow_null=True, help_text="All pickings [kg]; null: one was not weighed.")
    pruning_weight_kg = serializers.FloatField(allow_null=True, help_text="[kg]; null: not weighed.")
    crop_load = serializers.FloatField(allow_null=True)
    status = serializers.ChoiceField(choices=list(STATUSES.values()), help_text="Anything but ok: no number.")
    verdict = serializers.ChoiceField(choices=VERDICTS, allow_null=True, help_text="Null: no figure, or no range.")


class CountsOut(serializers.Serializer[Any]):
    """How many vines have which side; of the row alone where one was asked for."""

    places = serializers.IntegerField()
    missing_vines = serializers.IntegerField(help_text="Found missing up to the season of the harvest.")
    with_both = serializers.IntegerField(help_text="With their own yield and the prunings of the winter after.")
    without_prunings = serializers.IntegerField(help_text="With their own yield only.")
    without_yield = serializers.IntegerField(help_text="With prunings only.")
    with_neither = serializers.IntegerField(help_text="Standing, with neither.")


class BlockCropLoadOut(ComputedOut):
    """The crop load of a block for one harvest."""

    block = serializers.UUIDField()
    season = serializers.IntegerField(allow_null=True, help_text="Of the harvest; null: the block has none yet.")
    pruning_season = serializers.IntegerField(
        allow_null=True, help_text="The dormant season that follows it, whose prunings are divided by."
    )
    whole_block = BlockLoadOut(help_text="Harvest of the whole block over mean prunings times standing vines.")
    samples = BlockLoadOut(help_text="Yield of a mean vine of the samples over mean prunings.")
    paired_vines = BlockLoadOut(help_text="Sum over sum of the vines that have both sides.")
    soluble_solids = FigureOut()
    flags = FlagOut(many=True)
    counts = CountsOut()
    results = VineLoadOut(many=True, help_text="The vines that were picked by themselves, in walking order.")


def load_shown(load: BlockLoad, assigned: dict[str, Any] | None) -> dict[str, Any]:
    """Show a crop load of the block on one basis."""
    return {
        **figure(load.quotient.value, "1", reason=load.quotient.reason, assigned=assigned),
        "yield_kg": rounded(load.yield_kg),
        "pruning_weight_kg": rounded(load.pruning_kg),
        "vines": load.vines,
        "low": load.low,
        "high": load.high,
    }


def head_of(
    crop: Crop, loads: list[BlockLoad], winter: Winter | None, assigned: dict[str, Any] | None
) -> dict[str, Any]:
    """Give the computed members of the answer but those of single vines."""
    inputs = [
        given("yield_season", crop.season or None),
        given("yield_of_the_block", crop.block_kg, "kg"),
        given("yield_of_a_sampled_vine", crop.sample_kg, "kg"),
        given("pruning_season", crop.season + 1 if crop.season else None),
        given("mean_pruning_weight", winter.mean if winter else None, "kg"),
        given("vines_weighed", winter.n if winter else 0),
    ]
    more = [OF_VINES] if assigned else [NO_RANGE, OF_VINES]
    return {
        **computed(METHOD, inputs, _steps(crop, loads, winter), more=more),
        "season": crop.season or None,
        "pruning_season": crop.season + 1 if crop.season else None,
        **{load.basis: load_shown(load, assigned) for load in loads},
    }


def _steps(crop: Crop, loads: list[BlockLoad], winter: Winter | None) -> list[Working]:
    if not crop.season:
        return []
    steps = [pairing_step(crop.season)]
    if winter is not None:
        known = winter.low is not None and winter.high is not None
        interval = f" ({written(winter.low or 0.0)} to {written(winter.high or 0.0)})" if known else ""
        steps.append(
            Working(
                "mean prunings of the winter after",
                f"The mean of {winter.n} weighed vines of {winter.population}, with its 95 % interval.",
                f"{written(winter.mean)} kg{interval}",
                winter.mean,
                "kg",
            )
        )
    return steps + [_step_of_load(load) for load in loads if load.quotient.value is not None]


def _step_of_load(load: BlockLoad) -> Working:
    crop, wood, value = load.yield_kg or 0.0, load.pruning_kg or 0.0, load.quotient.value
    sentence = {
        WHOLE_BLOCK: f"The harvest of the block over the prunings of its {load.vines} standing vines, by their mean.",
        SAMPLES: "The yield of a mean vine of the samples over the mean prunings.",
        PAIRED_VINES: f"Sum over sum of the vines that have both sides: {load.vines}.",
    }[load.basis]
    label = f"crop load of the {load.basis.replace('_', ' ')}"
    return Working(label, sentence, f"{written(crop)} kg ÷ {written(wood)} kg = {written(value or 0.0)}", value, "1")


def counts_of(crops: VineCrops) -> dict[str, int]:
    """Count the vines that have a yield, prunings, both or neither."""
    crop, wood = ~np.isnan(crops.yields_kg), ~np.isnan(crops.walked.weights_kg)
    masks = {
        "missing_vines": ~crops.stands,
        "with_both": crop & wood,
        "without_prunings": crop & ~wood,
        "without_yield": wood & ~crop,
        "with_neither": crops.stands & ~crop & ~wood,
    }
    return {"places": len(crops.walked), **{name: int(np.count_nonzero(mask)) for name, mask in masks.items()}}


def vines_as_json(crops: VineCrops, limits: Range | None) -> bytes | memoryview:
    """Write the vines that were picked by themselves as one table."""
    vines, picked = crops.walked.vines, crops.picked
    if not picked.any():
        return b""
    loads = Quotients(crops.loads.values[picked], crops.loads.status[picked])
    columns = {
        "vine": ids(vines.ids[picked]),
        "row_number": numbers(vines.row_numbers[picked]),
        "place": numbers(vines.places[picked]),
        "label": vines.labels[picked],
        "record": ids(crops.walked.records[picked]),
        "yield_kg": numbers(crops.yields_kg[picked]),
        "pruning_weight_kg": numbers(crops.walked.weights_kg[picked]),
        "crop_load": numbers(loads.values),
        "status": words(_named(loads.status), list(STATUSES.values())),
        "verdict": words(judge_all(loads.values, limits), VERDICTS),
    }
    return rows_as_json(members(columns))


def _named(status: NDArray[np.str_]) -> NDArray[np.str_]:
    """Give each status its name among vines."""
    return np.select([status == each for each in STATUSES], list(STATUSES.values()), default="")


def _example() -> dict[str, Any]:
    crop = Crop(2026, block_recorded=True, block_kg=22.5, pairs=1, pairs_crop_kg=9.75, pairs_wood_kg=1.04)
    winter = winter_of(2027, 2, 1.1, 0.09, 2)
    vine = {
        "vine": "01991b5e-0000-7000-8000-00000000b1e7",
        "row_number": 3,
        "place": 7,
        "label": "",
        "record": "01991b5e-0000-7000-8000-0000000d0001",
        "yield_kg": 9.75,
        "pruning_weight_kg": 1.04,
        "crop_load": 9.375,
        "status": "ok",
        "verdict": None,
    }
    counts = dict.fromkeys(CountsOut().fields, 0) | {"places": 2, "with_both": 1, "without_yield": 1}
    return {
        "block": "01991b5e-0000-7000-8000-0000000b10c1",
        **head_of(crop, loads_of(crop, winter, 2), winter, None),
        "soluble_solids": solids(16.2, None),
        "flags": [],
        "counts": counts,
        "results": [vine],
    }


EXAMPLE: Final = _example()
