"""Every field of every operation that takes a body, as the OpenAPI document lists them, against every hostile value.

No 5xx; every refusal a problem that names the field; and what is accepted is shown as it was sent.  One place takes a
share of the values, its neighbour the next share, so that every operation meets all of them several times over;
``EVERY_CASE=1`` puts every value at every place.
"""

from __future__ import annotations

import json
import os
import uuid
from collections import Counter
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from rest_framework.test import APIClient

from records.access import enter, open_farm
from records.models import BalanceRange, ProgramMembership, Row, Vine
from records.services.own_catalogue import add_to_farm
from records.services.own_ranges import range_columns
from records.services.vineyards import create_block, create_row, plant_row
from tests.faults.corpus import VALUES, broken
from tests.faults.operations import Operation, Path, operations, places
from tests.faults.readback import same

pytestmark = [pytest.mark.django_db, pytest.mark.slow, pytest.mark.timeout(1200)]
SHARES = 1 if os.environ.get("EVERY_CASE") else 13
INSIDE = (b"Traceback", b"psycopg", b"django", b"SELECT ", b"site-packages", b"/usr/", b"<html", b"<!DOCTYPE")
#: Accepted and not shown by the address itself: a reason stands in the versions, vines stand in the block, and the
#: evidence of a case with its first step.
NOT_SHOWN = {"reason", "vines", "photo_reference", "inspection"}
#: What fills a slot that is no record's, and where one is made.
MADE_BY = {
    "case": "cordon-cases",
    "settings": "cordon-settings",
    "report": "reports",
    "schedule": "report-schedules",
    "endpoint": "webhook-endpoints",
}
#: Operations that store nothing under an address of their own.
ANSWER_ONLY = {each.name for each in operations() if each.path.startswith("/api/v1/balance/")} | {
    "POST /api/v1/farms/{farm}/erasure"
}
#: What null means where it is not "not measured": the season is told from the date; a formula holds from one unit on.
TOLD_FROM_ELSEWHERE: dict[Path, bytes] = {("season",): b"null", ("lowest_units",): b"null"}
#: Operations whose example names people, keys or members that this ground lacks, or whose answer shows another thing
#: than what was sent (the case, for a step of it): only that nothing breaks is asked.
OF_PEOPLE = {
    "POST /api/v1/farms/{farm}/cordon-cases/{case}/steps",
    "POST /api/v1/farms/{farm}/consents",
    "POST /api/v1/farms/{farm}/members",
    "PATCH /api/v1/farms/{farm}/members/{member}",
    "POST /api/v1/me/keys",
    "POST /api/v1/me/keys/{key}/rotation",
}
REFUSED = {400, 413, 415, 422}
#: A problem says what is wrong with a value; it does not give back all of it.
LONGEST_DETAIL = 1_500
_RANGE = {"code": "own-juice-crop-load", "label": "x", "measure": "yield_to_pruning_weight", "low": Decimal(1), "unit": "1",
          "source": "a test"}  # fmt: skip
_MARK = "@@hostile@@"


class Ground:
    """A farm with a block, vines and a record of every kind, and a client that leaves everything as it was."""

    def __init__(self, cast: Any) -> None:
        enter(cast.owner.caller)
        opened = open_farm(cast.owner.caller, cast.farm.pk)
        block = create_block(opened, None, {"name": "Lower Terrace"}).row
        row = create_row(opened, block, None, 1).row
        plant_row(opened, row, 3)
        self.ids = {"farm": cast.farm.pk, "block": block.pk, "row": Row.objects.for_farm(cast.farm).get().pk}
        vines = list(Vine.objects.for_farm(cast.farm).order_by("place").values_list("pk", flat=True))
        self.ids["vine"] = vines[0]
        # What the document's example of a choice names; and the program whose leads write is the owner's here.
        add_to_farm(opened, BalanceRange, range_columns(_RANGE))
        ProgramMembership.objects.create(program=cast.program, person=cast.owner.person)
        self.ids["program"] = cast.program.pk
        self.vines, self.spare_vine, self.farm_name = vines, vines[1], cast.farm.name
        self.client: Any = APIClient(raise_request_exception=False)
        self.client.credentials(HTTP_AUTHORIZATION=f"Bearer {cast.owner.key_text}")
        self._recorded: dict[str, str] = {}

    def _record(self, path: str) -> str:
        """Give one record of a kind, to be changed."""
        if path not in self._recorded:
            kind = next(each for each in operations() if each.method == "post" and each.path == path)
            self._recorded[path] = self._stored(kind)
        return self._recorded[path]

    def _stored(self, operation: Operation) -> str:
        made = self.send(operation, self.body(operation, vine=self.spare_vine), keep=True)
        assert made.status_code in {201, 202}, made.content
        return str(made.json()["id"])

    def body(self, operation: Operation, **instead: Any) -> dict[str, Any]:
        """Give the document's example, with ids of this farm and its own in place of the example's."""
        real = {"vine": self.ids["vine"], "block": self.ids["block"], "farm_name": self.farm_name, **instead}
        body = {name: str(real[name]) if name in real else value for name, value in operation.example.items()}
        if "id" in operation.members:
            body["id"] = str(uuid.uuid4())
        if operation.path.endswith("/vines"):
            body["row_number"], body["place"] = 1, 90
        return body

    def address(self, operation: Operation) -> str:
        address = operation.path
        if address.endswith("/{record}"):
            address = address.replace("{record}", self._record(address.removesuffix("/{record}")))
        for slot, made_by in MADE_BY.items():
            if f"{{{slot}}}" in address:
                self.ids[slot] = self._record(f"/api/v1/farms/{{farm}}/{made_by}")
        return address.format(**{"member": uuid.uuid4(), "key": uuid.uuid4(), **self.ids})

    def send(self, operation: Operation, body: Any, *, keep: bool = False) -> Any:
        """Send, look at what is shown if it is accepted, and take everything back.

        Constraints that speak at the end of a transaction are asked before that.
        """
        content = body if isinstance(body, bytes) else json.dumps(body).encode()
        headers = {"If-Match": "*"} if operation.changes else {}
        address = self.address(operation)  # outside, because it may store what is to be changed
        with transaction.atomic():
            answer: Any = self.client.generic(
                operation.method.upper(), address, content, content_type="application/json", headers=headers
            )  # fmt: skip
            answer.shown = self._shown(operation, answer) if 200 <= answer.status_code < 300 else None
            if not keep:
                transaction.set_rollback(True)
        return answer

    def _shown(self, operation: Operation, answer: Any) -> dict[str, Any]:
        try:
            with connection.cursor() as cursor:
                cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        except IntegrityError as error:
            answer.status_code = 409 if "constraint" in str(error) else 500
            return {}
        told: dict[str, Any] = answer.json()
        if answer.status_code == 201:
            assert ("Location" in answer.headers) is operation.tells_where, (operation.name, answer.headers)
        if operation.name in ANSWER_ONLY | OF_PEOPLE or operation.path.endswith(
            ("/rows", "/steps", "/links")
        ):  # these have no address of their own that shows them
            return told
        place = self.address(operation) if operation.changes else answer.headers.get("Location", "")
        shown = self.client.get(place)
        assert shown.status_code == 200, (operation.name, place, shown.content)
        read: dict[str, Any] = shown.json()
        told.pop("secret", None)  # of a receiver: shown once
        assert {name: read[name] for name in told if name in read} == told, "the answer and the address differ"
        return read


@pytest.fixture
def ground(cast: Any) -> Ground:
    return Ground(cast)


def with_value(body: dict[str, Any], place: Path, value: bytes) -> bytes:
    """Put raw bytes in the place of one member."""
    marked = {**body, place[0]: {**body[place[0]], place[1]: _MARK} if len(place) == 2 else _MARK}
    return json.dumps(marked).encode().replace(json.dumps(_MARK).encode(), value)


def fault_of(operation: Operation, answer: Any, place: Path, value: bytes) -> str | None:
    """Give what is wrong with an answer, if anything is."""
    if answer.status_code >= 500:
        return f"{answer.status_code}"
    if "json" not in answer.headers["Content-Type"] or any(word in answer.content for word in INSIDE):
        return f"{answer.headers['Content-Type']} {answer.content[:200]!r}"
    if answer.status_code >= 300:
        return _fault_of_problem(answer)
    if place[0] in NOT_SHOWN or TOLD_FROM_ELSEWHERE.get(place) == value or operation.name in ANSWER_ONLY | OF_PEOPLE:
        return None
    sent, shown = json.loads(value.decode()), answer.shown
    for name in place:
        shown = shown.get(name, "(not shown)") if isinstance(shown, dict) else "(not shown)"
    return None if same(sent, shown) else f"accepted {sent!r} and shows {shown!r}"


def _fault_of_problem(answer: Any) -> str | None:
    told = answer.json()
    if answer.headers["Content-Type"] != "application/problem+json" or not told["code"]:
        return "no code"
    details = [told["detail"], *(error["detail"] for error in told.get("errors", []))]
    if max(map(len, details)) > LONGEST_DETAIL:
        return f"{max(map(len, details))} characters of detail"
    return next((f"no way out: {detail}" for detail in details if "is not a valid choice" in detail), None)


@pytest.mark.parametrize("operation", operations(), ids=lambda operation: operation.name)
def test_no_value_in_any_field_breaks_the_service_or_is_taken_for_another(operation, ground):
    control = ground.send(operation, ground.body(operation))
    assert control.status_code < 300 or operation.name in OF_PEOPLE, (
        f"the document's own example is refused: {control.content}"
    )
    failures, told = [], Counter[int]()
    for turn, place in enumerate(places(operation)):
        for value in VALUES[turn % SHARES :: SHARES]:
            answer = ground.send(operation, with_value(ground.body(operation), place, value))
            told[answer.status_code] += 1
            wrong = fault_of(operation, answer, place, value)
            if wrong:
                failures.append((place, value[:60], wrong))
    hits = sum(count for status, count in told.items() if status >= 400)
    print(f"{operation.name}: trials {sum(told.values())}, fault hits {hits}, failures {len(failures)}, {dict(told)}")
    assert failures == []
    assert hits > 0


@pytest.mark.parametrize("operation", operations(), ids=lambda operation: operation.name)
def test_no_broken_body_and_no_unknown_member_breaks_the_service_or_is_passed_over(operation, ground):
    body = ground.body(operation)
    refused = REFUSED | {403, 404} if operation.name in OF_PEOPLE else REFUSED
    bad = broken(json.dumps(body).encode())
    for place in places(operation):
        if len(place) == 1:
            name = json.dumps(place[0]).encode()
            bad[f"{place[0]} twice"] = json.dumps({**body, place[0]: 1}).encode()[:-1] + b", " + name + b": 1}"
            bad[f"{place[0]} misspelt"] = json.dumps({**body, f"{place[0]}s_": 1}).encode()
    answers = {name: ground.send(operation, content) for name, content in bad.items()}
    wrong = {
        name: (answer.status_code, answer.headers["Content-Type"], answer.content[:200])
        for name, answer in answers.items()
        if answer.status_code not in refused or answer.headers["Content-Type"] != "application/problem+json"
    }
    print(f"{operation.name}, broken as a whole: trials {len(bad)}, fault hits {len(bad)}, failures {len(wrong)}")
    assert wrong == {}
