"""What a vine map says in words: as a whole, and of every vine."""

from __future__ import annotations

from typing import Final

import numpy as np
import orjson

from balance.formulas.cordons.replacement_steps import OPEN
from balance.vine_maps.classes import UNITS, Classified
from balance.vine_maps.reading import CORDON, COUNT, WEIGHT

HEADINGS: Final = {
    WEIGHT: "Pruning weights",
    COUNT: "Counts against targets",
    CORDON: "State of the cordons",
}
#: What the figure beside a vine says: where its replacement stands.
STEP_NUMBERS: Final = {step: number for number, step in enumerate(OPEN, start=1)}


def season_of(groups: Classified) -> str:
    """Name the season of a map."""
    season = groups.told.season
    return "no record yet" if season is None else f"harvest {season}"


def described(groups: Classified) -> str:
    """Say what the drawing shows, for whoever does not see it."""
    counts = "; ".join(f"{each.label}: {each.vines:,}" for each in groups.classes if each.vines)
    if not counts:
        return "The block has no vines."
    sentences = ["A mark for every vine, by row and place.", f"{counts}."]
    if groups.young:
        sentences.append(f"Young vines are framed: {groups.young:,}.")
    if groups.steps:
        steps = "; ".join(f"{STEP_NUMBERS[step]} {told(step)} ({count:,})" for step, count in groups.steps.items())
        sentences.append(f"A figure beside a mark is the step of its replacement: {steps}.")
    return " ".join(sentences)


def told(step: str) -> str:
    """Write a step of a replacement as words."""
    return step.replace("_", " ")


def sentence_of(groups: Classified, at: int) -> str:
    """Say of one vine what its mark shows."""
    vines = groups.told.vines
    label = str(orjson.loads(bytes(vines.labels[at])))
    name = f"Row {vines.row_numbers[at]}, vine {vines.places[at]}{label and f' ({label})'}"
    facts = [groups.classes[groups.of[at]].label]
    if groups.told.plants[at] != "missing":
        facts += _FACTS[groups.show](groups, at)
    if groups.told.plants[at] == "young":
        facts.append("young vine")
    return f"{name}: {'; '.join(facts)}"


def _weight(groups: Classified, at: int) -> list[str]:
    unit, factor = UNITS[groups.units]
    weight = groups.told.targets.walked.weights_kg[at]
    return [] if np.isnan(weight) else [f"{weight * factor:.2f} {unit}"]


def _count(groups: Classified, at: int) -> list[str]:
    target, left = groups.told.targets.targets.nodes[at], groups.told.targets.walked.retained[at]
    facts = [] if np.isnan(target) else [f"target {target:.0f}"]
    return facts if np.isnan(left) else [*facts, f"{left:.0f} left"]


def _cordon(groups: Classified, at: int) -> list[str]:
    share, step = groups.told.blank_share[at], str(groups.told.steps[at])
    facts = [] if np.isnan(share) else [f"{share:.0f} % blank"]
    return [*facts, f"replacement: {told(step)}"] if step else facts


_FACTS: Final = {WEIGHT: _weight, COUNT: _count, CORDON: _cordon}
