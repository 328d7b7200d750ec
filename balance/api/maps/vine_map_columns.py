"""The columns of a vine map: one value a vine in each, all in walking order."""

from __future__ import annotations

from typing import Any, Final

import orjson
from rest_framework import serializers

from balance.api.table_json import Column, ids, numbers, whole_numbers, words
from balance.api.targets.outcomes import OUTCOMES, OutcomeOut
from balance.formulas.cordons.replacement_steps import OPEN
from balance.missing_vines import PLANT_STATES
from balance.models import TargetStatus
from balance.vine_maps.classes import Classified

EXAMPLE_COLUMNS: Final[dict[str, list[Any]]] = {
    "vine": ["01991b5e-0000-7000-8000-00000000b1e7", "01991b5e-0000-7000-8000-00000000b1e8"],
    "row_number": [3, 3],
    "place": [7, 8],
    "label": ["", "end post"],
    "plant": ["standing", "missing"],
    "pruning_weight_kg": [1.270058636, None],
    "status": ["ok", "not_weighed"],
    "target": [48, None],
    "nodes_retained": [38, None],
    "difference": [-10, None],
    "tolerance": [3, 0],
    "outcome": ["too_few", None],
    "cordons_inspected": [2, None],
    "living_positions": [9, None],
    "blank_positions": [3, None],
    "blank_share_percent": [25.0, None],
    "open_cases": [1, None],
    "open_case_step": ["candidate_chosen", None],
    "class": [0, 1],
}


def _whole(help_text: str, *, null: bool = True) -> serializers.ListField:
    return serializers.ListField(child=serializers.IntegerField(allow_null=null), help_text=help_text)


def _real(help_text: str) -> serializers.ListField:
    return serializers.ListField(child=serializers.FloatField(allow_null=True), help_text=help_text)


def _word(choices: Any, help_text: str, *, null: bool = False) -> serializers.ListField:
    return serializers.ListField(child=serializers.ChoiceField(choices=choices, allow_null=null), help_text=help_text)


class VineColumnsOut(serializers.Serializer[Any]):
    """What is known of the vines, a list of one value a vine for each thing that is known."""

    vine = serializers.ListField(child=serializers.UUIDField())
    row_number = _whole("The row that the vine stands in.", null=False)
    place = _whole("Its place along the row.", null=False)
    label = serializers.ListField(child=serializers.CharField())  # type: ignore[assignment]
    plant = _word(PLANT_STATES, "By the newest vine event up to the season; missing: the place has no vine.")
    pruning_weight_kg = _real("[kg]; null: not weighed.")
    status = _word(TargetStatus.choices, "Whether there is a target, and if not, why.")
    target = _whole("Count nodes to retain [nodes]; null: none.")
    nodes_retained = _whole("[nodes]; null: not counted.")
    difference = _whole("Retained less target [nodes].")
    tolerance = _whole("[nodes]")
    outcome = serializers.ListField(child=OutcomeOut(allow_null=True), help_text="The verdict on the count.")
    cordons_inspected = _whole("Cordons inspected in the season; null: none was.")
    living_positions = _whole("Living spur positions on the cordons that say both sides; null: none does.")
    blank_positions = _whole("Blank spur positions on those.")
    blank_share_percent = _real("By positions, or where nobody counted them by length [%]; null: neither was said.")
    open_cases = _whole("Replacements under way as they stand now; null: none.")
    open_case_step = _word(OPEN, "The step of the one that is furthest from its end; null: none.", null=True)

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        """Add the column whose name is no name in Python."""
        return {**super().get_fields(), "class": _whole("Position in `classes`.", null=False)}


def columns_of(groups: Classified) -> dict[str, orjson.Fragment]:
    """Write each column as a JSON list."""
    told = groups.told
    walked, targets = told.targets.walked, told.targets
    columns = {
        "vine": ids(walked.vines.ids),
        "row_number": numbers(walked.vines.row_numbers),
        "place": numbers(walked.vines.places),
        "label": walked.vines.labels,
        "plant": words(told.plants, PLANT_STATES),
        "pruning_weight_kg": numbers(walked.weights_kg),
        "status": words(targets.targets.status, TargetStatus.values),
        "target": whole_numbers(targets.targets.nodes),
        "nodes_retained": whole_numbers(walked.retained),
        "difference": whole_numbers(targets.difference),
        "tolerance": whole_numbers(targets.tolerance),
        "outcome": words(targets.outcome, OUTCOMES),
        "cordons_inspected": whole_numbers(told.cordons),
        "living_positions": whole_numbers(told.living),
        "blank_positions": whole_numbers(told.blank),
        "blank_share_percent": numbers(told.blank_share),
        "open_cases": whole_numbers(told.open_cases),
        "open_case_step": words(told.steps, OPEN),
        "class": numbers(groups.of),
    }
    return {name: _listed(column) for name, column in columns.items()}


def _listed(column: Column) -> orjson.Fragment:
    return orjson.Fragment(b"[" + b",".join(column.tolist()) + b"]")
