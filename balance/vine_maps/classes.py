"""Into which few classes the vines of a map fall: what a drawing can show, and a legend can say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from balance.formulas.cordons.replacement_steps import OPEN
from balance.formulas.targets.retained_counts import TOO_FEW, TOO_MANY, WITHIN
from balance.vine_maps.reading import CORDON, COUNT, WEIGHT, VineMap
from records.units import from_canonical

MISSING: Final = "missing"
NOT_WEIGHED: Final = "not_weighed"
TO_COUNT: Final = "to_count"
NO_TARGET: Final = "no_target"
NOT_JUDGED: Final = "not_judged"
NOT_INSPECTED: Final = "not_inspected"
NO_SHARE: Final = "no_share"
#: Classes of weight: as many vines in each as ties allow.
FIFTHS: Final = 5
#: From a cordon without blank wood to one without anything else.
LIVING: Final = ("living_all", "living_most", "living_half", "living_little", "living_none")
_LIVING_LABELS: Final = (
    "no blank cordon",
    "blank up to a quarter",
    "blank up to a half",
    "blank more than a half",
    "all blank",
)
#: Units of weight that a map may be told in: the unit, and how many of it are a kilogram.
UNITS: Final = {"metric": ("kg", 1.0), "us": ("lb", float(from_canonical(Decimal(1), "[lb_av]")))}


@dataclass(frozen=True)
class MapClass:
    """One class: its code, what the legend says of it, and its vines."""

    code: str
    label: str
    vines: int = 0


@dataclass(frozen=True, eq=False)
class Classified:
    """A map with the classes of what it shows, and into which of them each vine falls."""

    told: VineMap
    show: str
    units: str
    classes: tuple[MapClass, ...]
    of: NDArray[np.intp]

    @property
    def young(self) -> int:
        """Young vines."""
        return int(np.count_nonzero(self.told.plants == "young"))

    @property
    def steps(self) -> dict[str, int]:
        """How many vines stand at which step of a replacement, in the order of the work; empty where none is shown."""
        if self.show != CORDON:
            return {}
        known, counts = np.unique(self.told.steps[self.told.plants != "missing"], return_counts=True)
        found = dict(zip(known.tolist(), counts.tolist(), strict=True))
        return {step: found[step] for step in OPEN if step in found}


def classified(told: VineMap, show: str, units: str) -> Classified:
    """Give the classes of what is to be shown; a place without a vine is in a class of its own, whatever was measured.

    Weights fall into fifths of the vines shown, told apart at weights rounded to hundredths of the unit, so that
    the picture and its legend agree.  How much of the cordons is blank is told in quarters: steps of the drawing,
    no verdict, because no source prints a share at which to act.
    """
    if show == WEIGHT:
        known, of = _by_weight(told, units)
    elif show == COUNT:
        known, of = _by_count(told)
    else:
        known, of = _by_cordon(told)
    known = [*known, (MISSING, "no vine")]
    of = np.where(told.plants == "missing", len(known) - 1, of)
    counts = np.bincount(of, minlength=len(known))
    classes = (MapClass(code, label, int(count)) for (code, label), count in zip(known, counts, strict=True))
    return Classified(told, show, units, tuple(classes), of)


_Known = list[tuple[str, str]]


def _by_weight(told: VineMap, units: str) -> tuple[_Known, NDArray[np.intp]]:
    unit, factor = UNITS[units]
    weights = np.round(told.targets.walked.weights_kg * factor, 9)
    standing = weights[~np.isnan(weights) & (told.plants != "missing")]
    limits = limits_of(standing)
    known = [(f"weight_{number}", label) for number, label in enumerate(_weight_labels(limits, unit), start=1)]
    known = known if len(standing) else []
    of = np.searchsorted(limits, weights, side="left")
    return [*known, (NOT_WEIGHED, "not weighed")], np.where(np.isnan(weights), len(known), of)


def limits_of(weights: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the weights at which the fifths are told apart, rounded to hundredths; fewer where vines are much alike.

    Examples
    --------
    >>> limits_of(np.array([0.5, 0.6, 0.7, 0.8, 0.9, 1.0])).tolist()
    [0.6, 0.7, 0.8, 0.9]
    >>> limits_of(np.array([0.5, 0.5])).tolist(), limits_of(np.array([])).tolist()
    ([], [])
    """
    if not len(weights):
        return np.empty(0)
    parts = np.arange(1, FIFTHS) / FIFTHS
    limits = np.unique(np.round(np.quantile(weights, parts), 2))
    apart: NDArray[np.float64] = limits[(limits >= weights.min()) & (limits < weights.max())]
    return apart


def _weight_labels(limits: NDArray[np.float64], unit: str) -> list[str]:
    if not len(limits):
        return [f"weighed, all near one weight ({unit})"]
    said = [f"{limit:.2f}" for limit in limits]
    between = [f"over {low} to {high} {unit}" for low, high in pairwise(said)]
    return [f"up to {said[0]} {unit}", *between, f"over {said[-1]} {unit}"]


def _by_count(told: VineMap) -> tuple[_Known, NDArray[np.intp]]:
    known = [
        (WITHIN, "count within tolerance"),
        (TOO_MANY, "too many nodes left"),
        (TOO_FEW, "too few nodes left"),
        (NOT_JUDGED, "counted, no target"),
        (TO_COUNT, "target, not counted"),
        (NO_TARGET, "no target, not counted"),
    ]
    counted, aimed = ~np.isnan(told.targets.walked.retained), ~np.isnan(told.targets.targets.nodes)
    outcome = told.targets.outcome
    conditions = [outcome == WITHIN, outcome == TOO_MANY, outcome == TOO_FEW, counted, aimed]
    return known, _selected(conditions, len(told))


def _by_cordon(told: VineMap) -> tuple[_Known, NDArray[np.intp]]:
    known = [
        *zip(LIVING, _LIVING_LABELS, strict=True),
        (NO_SHARE, "inspected, share not said"),
        (NOT_INSPECTED, "not inspected"),
    ]
    share = told.blank_share
    inspected = ~np.isnan(told.cordons)
    return known, _selected([share == 0, share <= 25, share <= 50, share < 100, share == 100, inspected], len(told))


def _selected(conditions: Sequence[NDArray[np.bool_]], size: int) -> NDArray[np.intp]:
    """Give the place of the first condition that holds; of none, the place after them."""
    places = [np.full(size, place) for place in range(len(conditions))]
    return np.select(conditions, places, default=len(conditions)).astype(np.intp)
