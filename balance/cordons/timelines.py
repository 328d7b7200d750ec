"""Everything known of one vine, or of one cordon of it, in the order of the days on which it happened.

Nothing is latched: what a season says of a cordon is what was seen in that season, and a season in which nobody
looked says nothing.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

from django.db.models import Q

from balance.cordons import timeline_sentences as sentences
from balance.cordons.days import day_on
from balance.cordons.models import CordonCase, CordonStep
from records.access import OpenFarm
from records.errors import NotFound, NotValid
from records.models import CordonInspection, DormantRecord, Farm, HarvestRecord, Vine, VineEvent
from records.models.farms import Hemisphere

#: More than this is asked for season by season.
MOST_ENTRIES: Final = 2_000
VINE_EVENT: Final = "vine_event"
CORDON_INSPECTION: Final = "cordon_inspection"
CORDON_STEP: Final = "cordon_step"
DORMANT_RECORD: Final = "dormant_record"
HARVEST_RECORD: Final = "harvest_record"
#: In the order in which things of one day are told.
KINDS: Final = (VINE_EVENT, CORDON_INSPECTION, CORDON_STEP, DORMANT_RECORD, HARVEST_RECORD)
_RECORDS: Final[dict[str, tuple[Any, Any]]] = {
    VINE_EVENT: (VineEvent, sentences.of_event),
    CORDON_INSPECTION: (CordonInspection, sentences.of_inspection),
    DORMANT_RECORD: (DormantRecord, sentences.of_dormant),
    HARVEST_RECORD: (HarvestRecord, sentences.of_harvest),
}
#: What is weighed and counted is the vine's, not a cordon's.
_OF_THE_VINE: Final = {DORMANT_RECORD, HARVEST_RECORD}
HAPPENED: Final = "happened"
SEEN: Final = "seen"
DATES: Final = (HAPPENED, SEEN)
#: The month with which a season begins, in the year before its harvest (see ``records.seasons``).
_FIRST_MONTH: Final = {Hemisphere.NORTH: 11, Hemisphere.SOUTH: 5}


@dataclass(frozen=True)
class Asked:
    """Which part of the timeline is asked for."""

    cordon: str | None = None
    season: int | None = None
    withdrawn: bool = False


@dataclass(frozen=True)
class Entry:
    """One thing known of the vine.

    ``day`` is the day on which it happened or, where only that is known, was seen; None for a record without a date.
    """

    kind: str
    row: Any
    season: int
    day: date | None
    day_is: str | None
    cordon: str | None
    sentence: str
    withdrawn: bool
    case: CordonCase | None = None


@dataclass(frozen=True)
class Timeline:
    """The entries in their order, and what was seen of each cordon season by season."""

    vine: Vine
    entries: list[Entry]
    seasons: list[tuple[int, list[tuple[CordonInspection, int]]]]


def timeline_of(opened: OpenFarm, vine_id: uuid.UUID, asked: Asked) -> Timeline:
    """Give what is known of a vine or of one of its cordons.

    Raises
    ------
    NotFound
        The farm has no such vine.
    NotValid
        There is more than can be answered at once.
    """
    vine: Vine | None = Vine.objects.for_farm(opened.farm).filter(pk=vine_id).first()
    if vine is None:
        raise NotFound
    entries = [*_records(opened, vine, asked), *_steps(opened, vine, asked)]
    if len(entries) > MOST_ENTRIES:
        raise NotValid.at(
            "season",
            code="too_many_entries",
            detail=f"More than {MOST_ENTRIES:,} entries are known of this vine; ask season by season.",
        )
    entries.sort(key=lambda entry: _place_in_time(opened.farm, entry))
    return Timeline(vine, entries, _by_season(entries))


def _records(opened: OpenFarm, vine: Vine, asked: Asked) -> Iterator[Entry]:
    for kind, (model, says) in _RECORDS.items():
        if asked.cordon is not None and kind in _OF_THE_VINE:
            continue
        rows = model.objects.for_farm(opened.farm).filter(vine_id=vine.pk)
        if asked.cordon is not None and kind == CORDON_INSPECTION:
            rows = rows.filter(cordon=asked.cordon)
        if asked.season is not None:
            rows = rows.filter(season=asked.season)
        if not asked.withdrawn:
            rows = rows.filter(withdrawn_at=None)
        for row in rows.order_by("id")[: MOST_ENTRIES + 1]:
            yield _of_record(opened.farm, kind, row, says(row))


def _of_record(farm: Farm, kind: str, row: Any, sentence: str) -> Entry:
    happened = getattr(row, "happened_on", None)
    seen = _day_on(farm, row.observed_at)
    return Entry(
        kind=kind,
        row=row,
        season=row.season,
        day=happened or seen,
        day_is=HAPPENED if happened else SEEN if seen else None,
        cordon=getattr(row, "cordon", None),
        sentence=sentence,
        withdrawn=row.withdrawn_at is not None,
    )


def _steps(opened: OpenFarm, vine: Vine, asked: Asked) -> Iterator[Entry]:
    cases = CordonCase.objects.for_farm(opened.farm).filter(vine_id=vine.pk)
    if not asked.withdrawn:
        cases = cases.filter(withdrawn_at=None)
    if asked.cordon is not None:  # a whole vine that is renewed takes each of its cordons with it
        cases = cases.filter(Q(cordon=asked.cordon) | Q(cordon=""))
    by_id = {case.pk: case for case in cases.order_by("id")[: MOST_ENTRIES + 1]}
    steps = CordonStep.objects.for_farm(opened.farm).filter(case_id__in=by_id)
    if asked.season is not None:
        steps = steps.filter(season=asked.season)
    for step in steps.order_by("case_id", "number")[: MOST_ENTRIES + 1]:
        case = by_id[step.case_id]
        yield Entry(
            kind=CORDON_STEP,
            row=step,
            season=step.season,
            day=step.happened_on,
            day_is=HAPPENED,
            cordon=case.cordon,
            sentence=sentences.of_step(case, step),
            withdrawn=case.withdrawn_at is not None,
            case=case,
        )


def _day_on(farm: Farm, moment: datetime | None) -> date | None:
    """Give the day on the farm's own calendar."""
    return None if moment is None else day_on(farm, moment)


def _place_in_time(farm: Farm, entry: Entry) -> tuple[Any, ...]:
    """Order by day; an entry without a date stands at the beginning of its season."""
    begins = date(entry.season - 1, _FIRST_MONTH[Hemisphere(farm.hemisphere)], 1)
    of_case = entry.case or entry.row
    number = getattr(entry.row, "number", getattr(entry.row, "picking", 0))
    return (
        entry.day or begins,
        entry.day is not None,
        KINDS.index(entry.kind),
        _moment(entry.row),
        of_case.received_at,
        str(of_case.pk),
        number,
    )


def _moment(row: Any) -> float:
    observed_at = getattr(row, "observed_at", None)
    return 0.0 if observed_at is None else float(observed_at.timestamp())


def _by_season(entries: Iterable[Entry]) -> list[tuple[int, list[tuple[CordonInspection, int]]]]:
    """Give the newest look at each cordon of each season, and how many looks there were; older seasons lend nothing."""
    looks: dict[int, dict[str, list[CordonInspection]]] = defaultdict(lambda: defaultdict(list))
    told = [entry for entry in entries if not entry.withdrawn]
    for entry in told:
        if entry.kind == CORDON_INSPECTION:
            looks[entry.season][entry.row.cordon].append(entry.row)
    if not told:
        return []
    seasons = [entry.season for entry in told]
    return [
        (season, [(seen[-1], len(seen)) for _, seen in sorted(looks[season].items())])
        for season in range(min(seasons), max(seasons) + 1)
    ]
