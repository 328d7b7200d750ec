"""A sample plan as it is shown."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any, Final

import numpy as np
import orjson
from rest_framework import serializers

from balance.api.figures import MethodOut, computed, given
from balance.api.samples.sample_sizes import VINE, SampleSizeOut, size_figures
from balance.api.table_json import ids, members, numbers, rows_as_json
from balance.api.targets.blocks import as_plain_json
from balance.formulas.methods import Working
from balance.formulas.samples.sample_draw import STRATIFIED, SYSTEMATIC, interval_of
from balance.formulas.samples.sample_size import METHOD, SampleSize, vines_needed
from balance.formulas.samples.sample_steps import size_steps
from balance.samples.sampling import Drawing, Plan, Spread, Wanted
from records.models import Block

METHODS: Final = {each.code: each for each in (SYSTEMATIC, STRATIFIED)}
NO_VINES: Final = (
    "No vine of the block stands in this season, so there is none to weigh. Plant rows, or correct events."
)
CAUTIONS: Final = (
    "Draw once: a draw repeated until it pleases is no random sample. Ask again with this seed and season for the same "
    "vines.",
    "A vine that turns out to be gone is left out and recorded as missing; its neighbour does not stand in for it.",
)


class DrawnVine(serializers.Serializer[Any]):
    """One vine to weigh."""

    order = serializers.IntegerField(help_text="Its place on the walk, from 1.")
    vine = serializers.UUIDField()
    row_number = serializers.IntegerField()
    place = serializers.IntegerField()
    label = serializers.CharField()  # type: ignore[assignment]
    weighed = serializers.BooleanField(help_text="It has a weight in this season already.")


class SamplePlanOut(SampleSizeOut):
    """How many vines to weigh, and which."""

    block = serializers.UUIDField()
    season = serializers.IntegerField()
    population = serializers.IntegerField(help_text="Vines that stand.")
    missing = serializers.IntegerField(
        help_text="Vines whose newest event up to the season says that they are missing."
    )
    draw = MethodOut(help_text="How the vines were drawn.")
    seed = serializers.IntegerField(help_text="Ask with it again for the same vines.")
    row_groups = serializers.IntegerField(allow_null=True, help_text="Null: the draw knows no groups.")
    interval = serializers.FloatField(allow_null=True, help_text="Every how manieth vine; null: not systematic.")
    frame = serializers.CharField(
        help_text="Stands for the vines that were drawn from. Where it differs, vines came or went since, and the seed "
        "may name others."
    )
    count = serializers.IntegerField(help_text="Vines drawn.")
    results = DrawnVine(many=True, help_text="In walking order.")


def plan_example() -> dict[str, Any]:
    """Give an answer as the OpenAPI document shows it."""
    size = vines_needed(10, 95, 34.5, 2)
    spread = Spread(34.5, 2026, 349)
    return {
        "block": "01991b5e-0000-7000-8000-0000000b10c1",
        "season": 2027,
        **computed(METHOD, _inputs(Wanted(10, 95), 2), _steps(size, Wanted(10, 95), spread, 2), more=CAUTIONS),
        "spread": spread_shown(spread),
        **size_figures(size),
        "population": 2,
        "missing": 1,
        "draw": asdict(SYSTEMATIC),
        "seed": 271828182,
        "row_groups": None,
        "interval": 1.0,
        "frame": "9f86d081884c7d65",
        "count": 2,
        "results": [
            {
                "order": number,
                "vine": f"01991b5e-0000-7000-8000-00000000b1e{number}",
                "row_number": number,
                "place": 7,
                "label": "",
                "weighed": False,
            }
            for number in (1, 2)
        ],
    }


def spread_shown(spread: Spread) -> dict[str, Any]:
    """Show where a coefficient of variation comes from."""
    told = asdict(spread)
    return {"value": told.pop("variation"), "unit": "%", "taken_from": spread.taken_from, **told}


def source_of(spread: Spread) -> str:
    """Say in a sentence where a coefficient of variation comes from."""
    if spread.season is None:
        return "The block has too few weights of its own: a stated default."
    return f"Of the block's own {spread.weights:,} weights of season {spread.season}."


def _inputs(wanted: Wanted, population: int) -> list[dict[str, Any]]:
    return [
        given("error", None if wanted.vines else wanted.error, "%"),
        given("confidence", wanted.confidence, "%"),
        given("vines_asked_for", wanted.vines, VINE),
        given("vines_standing", population, VINE),
    ]


def _steps(size: SampleSize | None, wanted: Wanted, spread: Spread, population: int) -> list[Working]:
    if size is None:
        return []
    error = None if wanted.vines else wanted.error
    return size_steps(size, (error, wanted.confidence), spread.variation, population, source_of(spread))


def plan_as_json(block: Block, made: Plan, wanted: Wanted, drawing: Drawing) -> bytes:
    """Write the answer: its head as any other, its vines as one table."""
    stands = int(np.count_nonzero(made.frame.stands))
    method = METHODS[drawing.method]
    head = {
        "block": block.pk,
        "season": made.frame.season,
        **computed(
            METHOD,
            _inputs(wanted, stands),
            _steps(made.size, wanted, made.spread, stands),
            more=CAUTIONS,
        ),
        "spread": spread_shown(made.spread),
        **size_figures(made.size, NO_VINES),
        "population": stands,
        "missing": len(made.frame.walked) - stands,
        "draw": asdict(method),
        "seed": drawing.seed,
        "row_groups": drawing.groups if method is STRATIFIED else None,
        "interval": interval_of(stands, len(made.drawn)) if method is SYSTEMATIC else None,
        "frame": made.frame.mark,
        "count": len(made.drawn),
    }
    opened = orjson.dumps(head, default=as_plain_json)[:-1]
    return b"".join((opened, b',"results":[', _drawn(made), b"]}"))


def _drawn(made: Plan) -> bytes | memoryview:
    vines, drawn = made.frame.walked.vines, made.drawn
    if not len(drawn):
        return b""
    weighed = ~np.isnan(made.frame.walked.weights_kg[drawn])
    return rows_as_json(
        members(
            {
                "order": numbers(np.arange(1, len(drawn) + 1)),
                "vine": ids(vines.ids[drawn]),
                "row_number": numbers(vines.row_numbers[drawn]),
                "place": numbers(vines.places[drawn]),
                "label": vines.labels[drawn],
                "weighed": np.where(weighed, b"true", b"false"),
            }
        )
    )
