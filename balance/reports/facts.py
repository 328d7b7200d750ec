"""What several sections ask of one block, computed once and only where it is asked for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final, TypeVar

import numpy as np

from balance.blocks import BlockTargets, targets_of_block
from balance.buds.pooled_samples import PooledSamples, samples_of_block
from balance.cordons.blank_share import BlankCordon, blank_cordon_of
from balance.cordons.open_cases import OpenCases, open_cases_of
from balance.cordons.worklist import Wanted, Worklist, worklist
from balance.crops.block_crops import BlockLoad, Crop, firmest_or_why, loads_of
from balance.crops.size_trends import BlockTrend, trend_of
from balance.formulas.cordons.reminders import WINTER
from balance.formulas.samples.sample_estimate import MeanEstimate, estimate_mean
from balance.missing_vines import Places, missing_among, places_in
from balance.ranges import AssignedRange, canopy_of, range_for, verdict_on
from balance.reports.reading import Reading
from balance.samples.block_means import DrawnTogether, block_means, drawn_together
from balance.samples.sampling import Frame
from balance.yields.pickings import Pickings, pickings_of
from records.access import OpenFarm
from records.models import Block, Cultivar, Measure, RangeChoice

_Of = TypeVar("_Of")

#: Of the intervals of means, and of the change of vine size a year [%]; as the API has them unless asked otherwise.
CONFIDENCE: Final = 95.0
CONFIDENCE_OF_TREND: Final = 90
#: So many seasons of a block's past are shown; the trend itself rests on all.
SEASONS_SHOWN: Final = 12


@dataclass(frozen=True)
class Judged:
    """The newest crop load that the prunings weighed allow, and where it lies in its range; None without a range."""

    season: int
    load: BlockLoad
    verdict: str | None


@dataclass(frozen=True, eq=False)
class Facts:
    """One block at the moment of a report."""

    reading: Reading
    block: Block

    @property
    def opened(self) -> OpenFarm:
        return self.reading.opened

    @property
    def season(self) -> int:
        return self.reading.season

    @cached_property
    def targets(self) -> BlockTargets:
        """The targets of the winter before the harvest."""
        return targets_of_block(self.opened, self.block, self.season, whole=True)

    @cached_property
    def frame(self) -> Frame:
        """The vines in walking order, and which of them stand."""
        walked = self.targets.walked
        return Frame(self.season, walked, ~missing_among(self.opened, self.block, self.season, walked.vines.ids))

    @cached_property
    def estimate(self) -> MeanEstimate:
        """The mean pruning weight of the winter before the harvest [kg]."""
        return estimate_mean(self.frame.walked.weights_kg, CONFIDENCE, self.frame.population)

    @cached_property
    def places(self) -> Places:
        return places_in(self.opened, self.block, self.season)

    @property
    def weighed(self) -> int:
        return int(np.isfinite(self.targets.walked.weights_kg).sum())

    @cached_property
    def _asked(self) -> dict[str, AssignedRange | None]:
        return {}

    def range_of(self, measure: str) -> AssignedRange | None:
        """Give the range that a figure of the block is held against, if one is assigned."""
        if measure not in self._asked:
            self._asked[measure] = self._once(
                ("range", measure, *self._kind_of_block(measure)), lambda: range_for(self.opened, self.block, measure)
            )
        return self._asked[measure]

    def _kind_of_block(self, measure: str) -> tuple[Any, ...]:
        """Give what a range depends on: the block itself only where the farm chose ranges of this measure."""
        chosen: set[str] = self._once(
            ("measures chosen",),
            lambda: set(RangeChoice.objects.for_farm(self.opened.farm).values_list("measure", flat=True)),
        )
        block = self.block
        if measure in chosen:
            return (block.pk,)
        return (block.cultivar_id, block.cultivar_group_id, block.use, canopy_of(block))

    @property
    def ranges(self) -> list[AssignedRange]:
        """The ranges that were asked for and are assigned."""
        return [each for each in self._asked.values() if each is not None]

    @property
    def crop_range(self) -> AssignedRange | None:
        return self.range_of(Measure.YIELD_TO_PRUNING_WEIGHT)

    @cached_property
    def trend(self) -> BlockTrend:
        """The trend up to this harvest and the winter after it."""
        assigned: dict[str, Any] | None = self.crop_range.shown() if self.crop_range else None
        return trend_of(self.opened, self.block, CONFIDENCE_OF_TREND / 100, assigned, until=self.season)

    @cached_property
    def crop(self) -> Crop:
        """What the harvest brought, as it was written down."""
        return self.trend.crops.get(self.season, Crop(self.season))

    @cached_property
    def load(self) -> BlockLoad:
        """The crop load of the harvest on the firmest basis; without a number it says why."""
        standing = self.places.count - self.places.missing
        loads = loads_of(self.crop, self.trend.winters.get(self.season + 1), standing)
        return firmest_or_why(loads)

    @cached_property
    def judged(self) -> Judged | None:
        """The crop load of this harvest, else of the one before; an older one says too little of the block today."""
        for season in (self.season, self.season - 1):
            load = self.trend.loads.get(season)
            if load is not None:
                return Judged(season, load, self.verdict_of(load))
        return None

    def verdict_of(self, load: BlockLoad) -> str | None:
        """Hold a crop load against the range that is assigned, if one is."""
        return verdict_on(load.quotient.value, self.crop_range)

    @cached_property
    def picked(self) -> Pickings:
        """The pickings of the harvest."""
        return pickings_of(self.opened, self.block, self.season)

    @cached_property
    def buds(self) -> PooledSamples:
        """The bud samples of the winter before the harvest."""
        return samples_of_block(self.opened, self.block, self.season)

    @cached_property
    def blank_cordon(self) -> dict[int, BlankCordon]:
        """The blank cordon season by season, those in which one was inspected."""
        first = self.season - SEASONS_SHOWN + 1
        return {each.season: each for each in blank_cordon_of(self.opened, [self.block.pk], first, self.season)}

    @cached_property
    def work(self) -> Worklist:
        """What cordons ask for in the winter after the harvest."""
        return worklist(self.opened, Wanted(self.season + 1, WINTER, block_id=self.block.pk))

    @cached_property
    def cases(self) -> OpenCases:
        """The cases of replacement as they stand."""
        return open_cases_of(self.opened, self.block, self.season)

    @property
    def alike(self) -> DrawnTogether | None:
        """The means of the farm's blocks of this cultivar; None where the block names none."""
        cultivar = self.block.cultivar
        return None if cultivar is None else self._once(("means", cultivar.pk), lambda: self._drawn(cultivar))

    def _drawn(self, cultivar: Cultivar) -> DrawnTogether:
        return drawn_together(block_means(self.opened, self.season, cultivar))

    def _once(self, name: tuple[Any, ...], ask: Callable[[], _Of]) -> _Of:
        """Ask once for all blocks of the farm."""
        key = (self.opened.farm.pk, self.season, *name)
        if key not in self.reading.kept:
            self.reading.kept[key] = ask()
        found: _Of = self.reading.kept[key]
        return found
