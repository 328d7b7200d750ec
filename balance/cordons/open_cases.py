"""How many cases of replacement of a block stand at which step, and how many were noticed in a season."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Count

from balance.cordons.models import CordonCase, CordonStep
from balance.formulas.cordons.replacement_steps import NOTICED, OPEN
from records.access import OpenFarm
from records.models import Block


@dataclass(frozen=True)
class OpenCases:
    """The cases of a block as they stand.

    Attributes
    ----------
    by_step : dict of str to int
        Open cases at each step, in the order of the work; a step without a case is not among them.
    noticed : int
        Cases, open or closed, that were noticed in the season.
    """

    by_step: dict[str, int]
    noticed: int

    @property
    def count(self) -> int:
        return sum(self.by_step.values())


def open_cases_of(opened: OpenFarm, block: Block, season: int) -> OpenCases:
    """Count the cases of a block that were not withdrawn."""
    live = CordonCase.objects.for_farm(opened.farm).filter(block=block, withdrawn_at=None)
    counts = dict(live.filter(step__in=OPEN).values_list("step").annotate(Count("id")).order_by())
    steps = CordonStep.objects.for_farm(opened.farm)
    noticed = steps.filter(number=1, step=NOTICED, season=season, case__in=live.values("id")).count()
    return OpenCases({step: counts[step] for step in OPEN if step in counts}, noticed)
