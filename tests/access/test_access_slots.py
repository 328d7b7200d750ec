"""Foreign and missing are the same: every operation × every slot for an id × every person, from the OpenAPI document.

Into one slot of an otherwise good request goes the id of a farm that is foreign to the sender; the answer must be
the one that an id gets that never existed.  That the request is good shows the control, which puts in the sender's own.
"""

from __future__ import annotations

from datetime import timedelta
from itertools import cycle
from typing import Any

import pytest
from rest_framework.test import APIClient

from records.access import OpenFarm, Part, Right, enter, open_farm
from records.api import views
from records.context import set_context
from records.models import Farm, Program, ProgramMembership, Role
from records.models.base import FarmQuerySet
from records.services.farms import set_role
from records.services.keys import make_key, revoke_key
from tests.access.canaries import Canaries
from tests.access.cells import Person, answer_with, foreign_and_missing, own_id
from tests.access.slots import Slot, document, slots_of
from tests.conftest import leave_farms
from tests.test_access_matrix import MATRIX, make_scene

pytestmark = [pytest.mark.django_db, pytest.mark.slow, pytest.mark.timeout(300)]

PEOPLE = (
    "stranger",
    "key_bound_to_another_farm",
    "viewer",
    "key_with_the_wrong_scope",
    "nobody",
    "revoked_key",
    "expired_key",
)


#: Farms, and keys, share one space of ids, so one in use elsewhere cannot be had; that is said, and nothing of it.
ONE_SPACE = {"POST api/v1/farms body id", "POST api/v1/me/keys body id"}


#: What a reader asks to be made of what they may read anyway; nothing on record changes by it.
ASKED_FOR_BY_READERS = {"api/v1/farms/{farm}/reports", "api/v1/farms/{farm}/report-schedules"}


def unavailable(slot: Slot, answer: tuple[int, bytes, dict[str, str]]) -> bool:
    return str(slot) in ONE_SPACE and answer[0] == 409 and b'"code":"id_unavailable"' in answer[1]


def client_with(key_text: str) -> APIClient:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {key_text}")
    return client


@pytest.fixture
def people(cast, settings) -> dict[str, Person]:
    """Two farms with one of everything on each, and everybody who tries to look across."""
    settings.RATE_LIMITS = dict.fromkeys(settings.RATE_LIMITS)
    other_program = Program.objects.create(name="Quarry Growers (invented)", region="Quarry Bend (invented)")
    ProgramMembership.objects.create(program=other_program, person=cast.stranger.person)
    first = make_scene(cast.owner, cast.farm, cast.program)
    other = make_scene(cast.stranger, cast.other_farm, other_program)
    for scene in (first, other):  # every request is taken back, so a vine without a record stays one
        scene.vines = cycle(list(scene.vines))
    enter(cast.stranger.caller)
    open_farm(cast.stranger.caller, cast.other_farm.pk)
    set_role(cast.other_farm, cast.owner.person, Role.OWNER)
    ProgramMembership.objects.create(program=other_program, person=cast.owner.person)
    leave_farms()
    return {
        "stranger": Person("stranger", cast.stranger.client, other, first),
        "key_bound_to_another_farm": Person("bound", _key(cast.owner, farm_ids=[cast.other_farm.pk]), other, first),
        "viewer": Person("viewer", cast.viewer.client, first, other),
        "key_with_the_wrong_scope": Person("scopes", _key(cast.viewer, scopes=["record"]), first, other),
        "nobody": Person("nobody", cast.nobody, first, other),
        "revoked_key": Person("revoked", _revoked(cast.stranger), other, first),
        "expired_key": Person("expired", _key(cast.stranger, valid_for=timedelta(seconds=-1)), other, first),
    }


def _key(player: Any, **how: Any) -> APIClient:
    how = {"scopes": ["read", "record", "manage"], **how}
    return client_with(make_key(player.person, label="key of the matrix", **how)[1])


def _revoked(player: Any) -> APIClient:
    key, text = make_key(player.person, label="taken back", scopes=["read", "record", "manage"])
    revoke_key(key)
    return client_with(text)


@pytest.fixture
def canaries(people, cast) -> Canaries:
    """Every text of the first farm, known by sight wherever it turns up."""
    return Canaries.written_on(cast)


def test_every_request_of_the_matrix_is_a_good_one(people, canaries, cast):
    """The control: with an id of the sender's own in the slot, each request does what it is for."""
    unproven = []
    owner = Person("owner", cast.stranger.client, people["stranger"].home, people["stranger"].foreign)
    for slot in slots_of(document()):
        answer = answer_with(owner, slot, owner.home, own_id(slot, owner.home))
        made_by_a_worker = slot.route.endswith(("/file", "/files/{form}")) or "/reports/{report}/" in slot.route
        has_one = slot.method == "POST" and slot.route.endswith("/report-schedules")  # one a person and farm
        not_yet = (made_by_a_worker or has_one) and answer.status_code == 409
        if not (200 <= answer.status_code < 300 or not_yet):
            unproven.append((str(slot), answer.status_code, answer.all_of_it[:300]))
    assert unproven == []


@pytest.mark.parametrize("name", PEOPLE)
def test_no_slot_of_any_operation_tells_a_foreign_id_from_a_missing_one(name, people, canaries):
    slots, person, run, opened = slots_of(document()), people[name], 0, []
    for slot in slots:
        foreign, missing = foreign_and_missing(person, slot)
        run += 1
        if foreign != missing and not unavailable(slot, foreign):
            opened.append((str(slot), foreign, missing))
    assert opened == []
    assert run == len(slots) > 100
    if person.foreign is people["stranger"].foreign:
        assert canaries.seen_in(person.received) == set()


def test_the_canaries_are_what_the_owner_receives(people, canaries, cast):
    """Else their absence would prove nothing."""
    owner = Person("owner", cast.owner.client, people["viewer"].home, people["viewer"].foreign)
    for slot in slots_of(document()):
        if slot.method == "GET":
            answer_with(owner, slot, owner.home, own_id(slot, owner.home))
    assert len(canaries.seen_in(owner.received)) > 30


def test_with_the_first_wall_removed_row_security_still_yields_nothing_foreign(people, canaries, monkeypatch):
    """No query narrows to a farm any more; the database does, by the farms that the door let the caller into."""
    monkeypatch.setattr(FarmQuerySet, "for_farm", lambda rows, _: rows.all())
    stranger, opened = people["stranger"], []
    for slot in slots_of(document()):
        foreign, missing = foreign_and_missing(stranger, slot)
        if foreign != missing and not unavailable(slot, foreign):
            opened.append((str(slot), foreign, missing))
        answer_with(stranger, slot, stranger.home, own_id(slot, stranger.home))
    assert opened == []
    assert canaries.seen_in(stranger.received) == set()


def test_a_planted_hole_is_found(people, canaries, monkeypatch):
    """A door that looks at nobody's membership: the cells open, and the canaries come out."""

    def open_to_all(caller: Any, farm_id: Any, right: Any = Right.READ) -> OpenFarm:
        set_context(farms=[farm_id])
        return OpenFarm(Farm.objects.get(pk=farm_id), caller, Part.by_role(Role.OWNER), frozenset(Right))

    monkeypatch.setattr(views, "open_farm", open_to_all)
    stranger = people["stranger"]
    slots = [
        slot for slot in slots_of(document()) if slot.method == "GET" and (slot.name, slot.place) == ("farm", "path")
    ]
    slots = [slot for slot in slots if not slot.route.endswith("/{schedule}")]  # a person's own, whatever the door says
    answers = [answer_with(stranger, slot, stranger.foreign, stranger.foreign.ids["farm"]) for slot in slots]
    assert {answer.status_code for answer in answers} <= {200, 409}
    assert len(canaries.seen_in(stranger.received)) > 30


def test_a_key_with_one_scope_does_nothing_that_takes_another(people, cast):
    """Read alone does what a viewer may; record and manage without read see nothing, so they do nothing either."""
    home = people["viewer"].home
    reads, blind = (Person("", _key(cast.owner, scopes=s), home, home) for s in (["read"], ["record", "manage"]))
    for slot in slots_of(document()):
        if slot.name != "farm" or slot.place != "path":
            continue
        takes_more = MATRIX[slot.method, slot.route].expected[3] == 403  # the viewer may not
        answers = [answer_with(who, slot, home, home.ids["farm"]).status_code for who in (reads, blind)]
        assert answers[1] == 403, str(slot)
        done = answers[0] < 300 or answers[0] == 409  # 409: the worker has not made it yet
        assert (answers[0] == 403) if takes_more else done, str(slot)
