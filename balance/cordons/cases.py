"""Open a case of replacement, move it by a step, withdraw it: the verbs of ``balance.cordons``."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction
from django.db.models.functions import Now

from balance.cordons.days import today_on
from balance.cordons.models import CordonCase, CordonStep, Scope
from balance.formulas.cordons.replacement_steps import (
    BEARING,
    CLOSED,
    FOLLOWING,
    LAID_DOWN,
    NOTICED,
    YOUNG_ARM,
    may_follow,
)
from records.access import OpenFarm, Right
from records.errors import AlreadyRecorded, IdInUse, NotFound, NotValid, Stale
from records.models import CordonInspection, Farm, Vine
from records.seasons import resolve_season
from records.services.storing import Stored, change, constraint_of, create_once, digest_of
from records.units import Quantity, columns_of_quantity

#: Members of a candidate that are quantities, and those that are stored as they are sent.
_LENGTHS: Final = ("candidate_diameter", "candidate_length")
_PLAIN: Final = (
    "candidate_springs_from",
    "candidate_ripeness",
    "candidate_above_graft_union",
    "nodes_laid_down",
    "wraps",
)
#: At these steps the arm that was laid down stands; at any other, no arm of the case does.
_ARM_STANDS: Final = (*YOUNG_ARM, BEARING)


@dataclass(frozen=True)
class Opening:
    """What is said when a case is opened."""

    vine_id: uuid.UUID
    scope: str
    noticed_on: date
    cordon: str = ""
    reasons: tuple[str, ...] = ("seen",)
    note: str = ""
    inspection_id: uuid.UUID | None = None
    photo_reference: str = ""


@dataclass(frozen=True)
class Move:
    """What is said of the next step of a case; ``candidate`` holds what was said of the shoot, and only that."""

    step: str
    happened_on: date
    inspection_id: uuid.UUID | None = None
    photo_reference: str = ""
    note: str = ""
    candidate: Mapping[str, Any] = field(default_factory=dict)


def season_on(farm: Farm, day: date) -> int:
    """Give the harvest year that a day on the farm belongs to."""
    noon = datetime.combine(day, time(12), tzinfo=ZoneInfo(farm.time_zone))
    return resolve_season(noon, None, time_zone=farm.time_zone, hemisphere=farm.hemisphere, time="any")


def open_case(opened: OpenFarm, case_id: uuid.UUID | None, said: Opening) -> Stored[CordonCase]:
    """Open a case with its first step; the same request sent again opens nothing new.

    Raises
    ------
    NotValid
        The farm has no such vine, the inspection is of another, or the day lies ahead.
    AlreadyRecorded
        The cordon, or the whole vine, has an open case already; the data carries it.
    IdInUse
        The id is known, with other content.
    """
    opened.require(Right.RECORD)
    vine = Vine.objects.for_farm(opened.farm).filter(pk=said.vine_id).first()
    if vine is None:
        raise NotValid.at("vine", code="no_such_vine", detail="The vine is not among this farm's.")
    _refuse_tomorrow(opened.farm, said.noticed_on, "noticed_on")
    _evidence(opened, vine.pk, said.inspection_id)
    season = season_on(opened.farm, said.noticed_on)
    columns = {
        "vine_id": vine.pk,
        "block_id": vine.block_id,
        "scope": said.scope,
        "cordon": "" if said.scope == Scope.VINE else said.cordon,
        "reasons": sorted(set(said.reasons)),
        "noticed_on": said.noticed_on,
        "note": said.note,
    }
    with transaction.atomic():
        begins = {"step": NOTICED, "step_number": 1, "step_on": said.noticed_on, "step_season": season}
        try:
            stored = create_once(CordonCase, opened.farm, case_id, columns, provenance=begins)
        except IntegrityError as error:
            if constraint_of(error) != "cordon_case_one_open_a_cordon":
                raise
            raise AlreadyRecorded(
                "This cordon has an open case already. Move that one, or close it first.",
                current=_open_case_of(opened, columns),
            ) from error
        if stored.created:
            _note_step(opened, stored.row, None, Move(NOTICED, said.noticed_on, said.inspection_id,
                                                      said.photo_reference, said.note), season)  # fmt: skip
    return stored


def move_case(
    opened: OpenFarm, case_id: uuid.UUID, step_id: uuid.UUID | None, said: Move, *, version: int | None
) -> Stored[CordonCase]:
    """Take the next step of a case, from the version that the caller knows; a step sent again moves nothing.

    Raises
    ------
    NotFound
        The farm has no such case.
    Stale
        Somebody moved it meanwhile; the data carries the case as it stands.
    NotValid
        The step cannot follow the one that stands, its day lies before that one's or ahead, or the evidence is of
        another vine.
    AlreadyRecorded
        The case was closed and the cordon has another open one.
    """
    opened.require(Right.RECORD)
    with transaction.atomic():
        case = _held(opened, case_id)
        if step_id is not None:
            known = CordonStep.objects.for_farm(opened.farm).filter(pk=step_id).first()
            if known is not None:
                return _again(case, known, said)
        if version is not None and case.version != version:
            raise Stale(
                f"The case is at version {case.version}, not {version}. Read it again, and decide whether your step "
                "still follows.",
                current=case,
            )
        _refuse_impossible(opened, case, said)
        season = season_on(opened.farm, said.happened_on)
        columns = _moved(case, said, season)
        try:
            with transaction.atomic():
                moved = change(CordonCase, opened.farm, case.pk, columns, version=None, reason=f"step: {said.step}")
        except IntegrityError as error:
            if constraint_of(error) != "cordon_case_one_open_a_cordon":
                raise
            raise AlreadyRecorded(
                "The cordon has another open case meanwhile. Move that one.",
                current=_open_case_of(opened, {"vine_id": case.vine_id, "cordon": case.cordon}),
            ) from error
        _note_step(opened, moved, step_id, said, season)
        return Stored(moved, created=True)


def withdraw_case(opened: OpenFarm, case_id: uuid.UUID, *, version: int | None, reason: str) -> CordonCase:
    """Withdraw a case that was a mistake; its steps stay readable."""
    opened.require(Right.RECORD)
    case: CordonCase | None = CordonCase.objects.for_farm(opened.farm).filter(pk=case_id).first()
    if case is not None and case.withdrawn_at is not None:
        return case  # asked for again, after a reply that was lost
    return change(CordonCase, opened.farm, case_id, {"withdrawn_at": Now()}, version=version, reason=reason)


def case_of(opened: OpenFarm, case_id: uuid.UUID) -> CordonCase:
    """Give one case of the open farm."""
    found: CordonCase | None = CordonCase.objects.for_farm(opened.farm).filter(pk=case_id).first()
    if found is None:
        raise NotFound
    return found


def steps_of(opened: OpenFarm, case: CordonCase) -> list[CordonStep]:
    """Give the steps of a case, in their order."""
    return list(CordonStep.objects.for_farm(opened.farm).filter(case=case).order_by("number"))


def _held(opened: OpenFarm, case_id: uuid.UUID) -> CordonCase:
    case: CordonCase | None = (
        CordonCase.objects.for_farm(opened.farm).select_for_update(of=("self",)).filter(pk=case_id).first()
    )
    if case is None:
        raise NotFound
    if case.withdrawn_at is not None:
        raise NotValid.at("step", code="withdrawn", detail="The case was withdrawn. Open another one.")
    return case


def _refuse_impossible(opened: OpenFarm, case: CordonCase, said: Move) -> None:
    if not may_follow(said.step, case.step):
        raise NotValid.at(
            "step",
            code="impossible_step",
            detail=f"'{said.step}' cannot follow '{case.step}'. What can: {', '.join(FOLLOWING[case.step])}.",
        )
    if said.happened_on < case.step_on:
        raise NotValid.at(
            "happened_on",
            code="out_of_range",
            detail=f"{said.happened_on} lies before the step that stands, '{case.step}' on {case.step_on}. Correct the "
            "day, or leave the step out: its order is what counts.",
        )
    _refuse_tomorrow(opened.farm, said.happened_on, "happened_on")
    _evidence(opened, case.vine_id, said.inspection_id)


def _refuse_tomorrow(farm: Farm, day: date, member: str) -> None:
    today = today_on(farm)
    if (day - today).days > 1:  # a phone's clock may be a day off
        raise NotValid.at(
            member, code="out_of_range", detail=f"{day} lies ahead: on the farm it is {today}. Correct the day."
        )


def _evidence(opened: OpenFarm, vine_id: uuid.UUID, inspection_id: uuid.UUID | None) -> None:
    if inspection_id is None:
        return
    seen = CordonInspection.objects.for_farm(opened.farm).filter(pk=inspection_id, vine_id=vine_id)
    if not seen.exists():
        raise NotValid.at(
            "inspection", code="no_such_record", detail="This vine has no cordon inspection with this id."
        )


def _moved(case: CordonCase, said: Move, season: int) -> dict[str, Any]:
    columns: dict[str, Any] = {
        "step": said.step,
        "step_number": case.step_number + 1,
        "step_on": said.happened_on,
        "step_season": season,
        **candidate_columns(said.candidate),
    }
    if said.step == LAID_DOWN:
        columns["laid_down_season"] = season
    elif said.step not in _ARM_STANDS:
        columns["laid_down_season"] = None
    return columns


def candidate_columns(said: Mapping[str, Any]) -> dict[str, Any]:
    """Spread what was said of a candidate into its columns; what was not said is left out."""
    columns: dict[str, Any] = {name: said[name] for name in _PLAIN if name in said}
    for name in _LENGTHS:
        if name in said:
            quantity: Quantity | None = said[name]
            columns |= columns_of_quantity(name, quantity, "length")
    return columns


def _note_step(opened: OpenFarm, case: CordonCase, step_id: uuid.UUID | None, said: Move, season: int) -> CordonStep:
    key = opened.caller.key
    columns = _of_a_step(case, said)
    provenance = {
        "number": case.step_number,
        "season": season,
        "recorded_by_id": opened.caller.person.pk,
        "api_key_id": key.pk if key else None,
        "app_name": key.app_name if key else "",
    }
    return create_once(CordonStep, opened.farm, step_id, columns, provenance=provenance).row


def _of_a_step(case: CordonCase, said: Move) -> dict[str, Any]:
    return {
        "case_id": case.pk,
        "step": said.step,
        "happened_on": said.happened_on,
        "inspection_id": said.inspection_id,
        "photo_reference": said.photo_reference,
        "note": said.note,
        **candidate_columns(said.candidate),
    }


def _again(case: CordonCase, known: CordonStep, said: Move) -> Stored[CordonCase]:
    if digest_of(_of_a_step(case, said)) != known.created_digest:
        raise IdInUse(
            "This id is in use for another step. For a new step, use a new id.",
            current=case,
        )
    return Stored(case, created=False)


def _open_case_of(opened: OpenFarm, place: Mapping[str, Any]) -> CordonCase | None:
    cases = CordonCase.objects.for_farm(opened.farm).filter(withdrawn_at=None).exclude(step__in=CLOSED)
    return cases.filter(vine_id=place["vine_id"], cordon=place["cordon"]).first()
