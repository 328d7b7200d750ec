"""What benchmarks tell, and what growers are told apart by.

Three measures, and of each the mean and the spread between plantings.  No median and no quartiles: they are single
growers' own values, or the middle between two, and no sum of which the audit could say what follows from it.  No
targets: by a formula they are the prunings over again, so that a target told where the prunings are withheld would tell
those.  No shares: what is left of a share tells as well, and a reader knows that neither goes beyond all.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from balance.reports.programs import sums
from balance.reports.programs.labels import CULTIVAR, REGION, TRAINING

SHELTER: Final = "shelter"
DIMENSIONS: Final = (REGION, CULTIVAR, TRAINING, SHELTER)


@dataclass(frozen=True)
class Measured:
    """One measure: its name in the sums of blocks, in words, its unit, and what its mean is weighted by."""

    name: str
    title: str
    unit: str
    weighted_by: str


MEASURES: Final = (
    Measured(sums.PRUNING_WEIGHT, "Pruning weight of a vine", "kg", "vines weighed"),
    Measured(sums.KEPT, "Nodes retained on a vine", "{count}", "vines counted"),
    Measured(sums.CROP_LOAD, "Crop load: yield of the harvest before over these prunings", "1", "prunings"),
)
BY_NAME: Final = {each.name: each for each in MEASURES}
NAMES: Final = tuple(BY_NAME)
