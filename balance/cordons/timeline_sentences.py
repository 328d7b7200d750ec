"""What a timeline says of each record, as one plain sentence; what was not measured is not mentioned."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Final

from balance.cordons.models import CordonCase, CordonStep
from balance.formulas.counting import counted
from balance.formulas.targets.explanation import plain
from records.models import CordonInspection, DormantRecord, HarvestRecord, VineEvent

_EVENTS: Final = {"planted": "Planted", "missing": "Found missing", "replanted": "Replanted", "retrained": "Retrained"}


def of_event(event: VineEvent) -> str:
    """Say what happened to the plant."""
    told = _EVENTS[event.event]
    if event.trained_as:
        told += f" as {event.trained_as}"
    return _sentence([told, event.rootstock and f"on {event.rootstock}"])


def of_inspection(seen: CordonInspection) -> str:
    """Say what was seen of the cordon that day, and nothing of any other day."""
    parts = [
        _count(seen.living_positions, "living position"),
        _count(seen.blank_positions, "blank position"),
        _length(seen.blank_length_m, "without living positions"),
        _length(seen.dieback_length_m, "dead from the end"),
        _length(seen.creep_m, "from the cordon to its spurs"),
        seen.tie_too_tight is not None and ("a tie cuts in" if seen.tie_too_tight else "no tie cuts in"),
        seen.disease_signs and f"signs: {', '.join(words(sign) for sign in seen.disease_signs)}",
    ]
    told = [part for part in parts if part]
    return _sentence([f"{cordon_named(seen.cordon)}: {told[0] if told else 'looked at, nothing measured'}", *told[1:]])


def of_step(case: CordonCase, step: CordonStep) -> str:
    """Say which step of which replacement was taken."""
    return _sentence(
        [
            f"{cordon_named(case.cordon)}: {step.get_step_display()}",
            step.candidate_springs_from and f"a shoot from the {words(step.candidate_springs_from)}",
            _thickness(step.candidate_diameter_m),
            _count(step.nodes_laid_down, "node"),
            _count(step.wraps, "turn", " round the wire"),
        ]
    )


def of_dormant(record: DormantRecord) -> str:
    """Say what was cut off and what was kept."""
    weight = _mass(record.pruning_weight_kg, "of prunings") or "prunings not weighed"
    return _sentence([f"Pruned: {weight}", _count(record.nodes_retained, "node", " kept") or "nodes not counted"])


def of_harvest(record: HarvestRecord) -> str:
    """Say what one picking of the vine brought."""
    crop = _mass(record.yield_kg, "of fruit") or "fruit not weighed"
    return _sentence([f"Picking {record.picking}: {crop}", _count(record.clusters, "cluster")])


def cordon_named(cordon: str) -> str:
    """Name a cordon at the head of a sentence; empty means the whole vine."""
    return f"{words(cordon).capitalize()} cordon" if cordon else "Whole vine"


def words(code: str) -> str:
    """Write a code of the trade as words."""
    return code.replace("_", " ")


def _sentence(parts: Iterable[str | bool | list[str] | None]) -> str:
    return f"{', '.join(str(part) for part in parts if part)}."


def _count(count: int | None, what: str, after: str = "") -> str:
    return "" if count is None else f"{counted(count, what)}{after}"


def _length(metres: Decimal | None, what: str) -> str:
    return "" if metres is None else f"{plain(float(metres) * 100, 1)} cm {what}"


def _thickness(metres: Decimal | None) -> str:
    return "" if metres is None else f"{plain(float(metres) * 1000, 1)} mm thick"


def _mass(kilograms: Decimal | None, what: str) -> str:
    return "" if kilograms is None else f"{plain(float(kilograms), 3)} kg {what}"
