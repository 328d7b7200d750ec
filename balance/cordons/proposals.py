"""Cordons that the farm's own thresholds propose for replacement, each with what was measured and the threshold."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from balance.cordons.days import today_on
from balance.cordons.failing_cordons import FailingCordon, failing_cordons
from balance.cordons.models import CordonSettings
from balance.cordons.proposal_grounds import Ground, grounds_of, more_than_one
from balance.cordons.thresholds import thresholds_for
from balance.formulas.cordons.replacement_scope import WHOLE_VINE, proposed_scope
from records.access import OpenFarm
from records.errors import NotValid
from records.models import Block, Vine

#: More vines than these are asked about block by block or row by row.
MOST_VINES: Final = 20_000
#: More cordons than these are not proposed at once.
MOST_CORDONS: Final = 5_000


@dataclass(frozen=True)
class Proposal:
    """One replacement that the thresholds propose.

    Attributes
    ----------
    scope, cordon : str
        ``cordon`` with its name, or ``vine`` and the empty text.
    season, inspection_id : int, UUID
        The newest inspection that shows it.
    noticed_on : date
        The day of that inspection on the farm, never ahead; where no day is known, the day on which it came in.
    grounds : tuple of Ground
        Each with what was measured and the threshold as set.
    settings_id : UUID
        The settings that the thresholds stand in.
    """

    vine_id: uuid.UUID
    block_id: uuid.UUID
    block_name: str
    row_number: int
    place: int
    label: str
    scope: str
    cordon: str
    season: int
    inspection_id: uuid.UUID
    noticed_on: date
    grounds: tuple[Ground, ...]
    settings_id: uuid.UUID

    @property
    def reasons(self) -> tuple[str, ...]:
        """Give the names of the reasons, each once."""
        return tuple(sorted({ground.reason for ground in self.grounds}))

    @property
    def sentence(self) -> str:
        """Say why it is proposed, in one line; a cordon is named once."""
        said = [
            ground.what
            if before and (before.cordon, before.season) == (ground.cordon, ground.season)
            else ground.sentence
            for before, ground in zip((None, *self.grounds), self.grounds, strict=False)
        ]
        return "; ".join(said)

    def as_case(self) -> dict[str, Any]:
        """Give the members by which a case is opened from it."""
        case = {
            "vine": self.vine_id,
            "scope": self.scope,
            "cordon": self.cordon,
            "noticed_on": self.noticed_on,
            "reasons": list(self.reasons),
            "inspection": self.inspection_id,
        }
        return case if self.cordon else {name: value for name, value in case.items() if name != "cordon"}


def proposals_of(
    opened: OpenFarm, *, block_id: uuid.UUID | None = None, row_number: int | None = None, season: int
) -> list[Proposal]:
    """Give what the farm's thresholds propose for replacement, from the newest inspections up to a season.

    In walking order.  ``balance.cordons.failing_cordons`` says which inspections and cases count.  A vine of which
    more than one cordon fails is proposed whole, unless another cordon of it is being replaced already.

    Returns
    -------
    list of Proposal
        Empty where no threshold is set; ``balance.cordons.thresholds.NOTHING_SET`` says why.

    Raises
    ------
    NotValid
        There are too many vines or proposals to be answered at once.
    """
    blocks = Block.objects.for_farm(opened.farm)
    names = dict((blocks if block_id is None else blocks.filter(pk=block_id)).values_list("pk", "name"))
    thresholds = thresholds_for(opened, names)
    if not thresholds:
        return []
    _refuse_too_many_vines(opened, thresholds, row_number)
    failing = failing_cordons(opened, thresholds, season=season, row_number=row_number, most=MOST_CORDONS + 1)
    if len(failing) > MOST_CORDONS:
        raise NotValid.at(
            "block",
            code="too_many_cordons",
            detail=f"More than {MOST_CORDONS:,} cordons pass a threshold. Ask block by block, or row by row.",
        )
    today = today_on(opened.farm)
    found = [
        _proposal(cordons, names[cordons[0].block_id], thresholds[cordons[0].block_id], today)
        for of_a_vine in _by_vine(failing)
        for cordons in _together(of_a_vine)
    ]
    return sorted(found, key=lambda it: (it.block_name, it.block_id, it.row_number, it.place, it.cordon))


def _refuse_too_many_vines(
    opened: OpenFarm, thresholds: dict[uuid.UUID, CordonSettings], row_number: int | None
) -> None:
    vines = Vine.objects.for_farm(opened.farm).filter(block_id__in=thresholds)
    if row_number is not None:
        vines = vines.filter(row_number=row_number)
    count = vines.count()
    if count > MOST_VINES:
        raise NotValid.at(
            "block" if len(thresholds) > 1 else "row_number",
            code="too_many_vines",
            detail=f"There are {count:,} vines; proposals are made for at most {MOST_VINES:,} at once. Ask block by "
            "block, or row by row.",
        )


def _by_vine(failing: Iterable[FailingCordon]) -> list[list[FailingCordon]]:
    vines: dict[uuid.UUID, list[FailingCordon]] = defaultdict(list)
    for cordon in failing:
        vines[cordon.vine_id].append(cordon)
    return [sorted(cordons, key=lambda it: it.cordon) for cordons in vines.values()]


def _together(of_a_vine: list[FailingCordon]) -> list[list[FailingCordon]]:
    """Give the cordons of a vine that make one proposal: all of them, or each by itself."""
    scope = proposed_scope(len(of_a_vine), another_under_way=of_a_vine[0].another_under_way)
    return [of_a_vine] if scope == WHOLE_VINE else [[cordon] for cordon in of_a_vine]


def _proposal(cordons: list[FailingCordon], block_name: str, settings: CordonSettings, today: date) -> Proposal:
    newest = max(cordons, key=lambda it: (it.season, it.seen_on, it.inspection_id))
    whole = len(cordons) > 1
    grounds = [ground for cordon in cordons for ground in grounds_of(cordon, settings)]
    if whole:
        grounds.append(more_than_one(len(cordons)))
    return Proposal(
        vine_id=newest.vine_id,
        block_id=newest.block_id,
        block_name=block_name,
        row_number=newest.row_number,
        place=newest.place,
        label=newest.label,
        scope=proposed_scope(len(cordons), another_under_way=False),
        cordon="" if whole else newest.cordon,
        season=newest.season,
        inspection_id=newest.inspection_id,
        noticed_on=min(newest.seen_on, today),
        grounds=tuple(grounds),
        settings_id=settings.pk,
    )
