"""The same request many times at the same moment is one row, and nobody is told otherwise."""

from __future__ import annotations

import json
from collections import Counter
from threading import Barrier
from typing import Any

import pytest

from tests.faults.ground import CREATES, Create, Ground, new_weighings
from tests.faults.hands import all_at_once
from tests.faults.phone import Phone

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]
ROUNDS, COPIES = 200, 16


def test_sixteen_identical_requests_at_once_are_one_row_and_one_answer(service, ground):
    """In turn for every kind; a 409 must say when to come back, and the service must then say 2xx."""
    kinds = list(CREATES.values())
    creates = [kinds[turn % len(kinds)](ground, turn) for turn in range(ROUNDS)]
    together = Barrier(COPIES)

    def send_all(_: int) -> list[Any]:
        phone = service.phone()
        return [answer_of(phone, create, together) for create in creates]

    answers = all_at_once(COPIES, send_all)
    told = Counter(status for copy in answers for status, _ in copy)
    overlaps = sum(len({status for status, _ in round_}) > 1 for round_ in zip(*answers, strict=True))
    wrong = [
        (create.path, status, said)
        for copy in answers
        for create, (status, said) in zip(creates, copy, strict=True)
        if said != create.id and not (status == 409 and said == "come back")
    ]
    print(f"at once: trials {ROUNDS} x {COPIES}, fault hits {overlaps}, failures {len(wrong)}, answers {dict(told)}")
    assert wrong == []
    assert told[201] == ROUNDS, "each row is created by one request and no more"
    assert overlaps == ROUNDS
    assert rows_of(service, creates) == ROUNDS


def answer_of(phone: Phone, create: Create, together: Barrier) -> tuple[int, str]:
    """Send in the same moment as the others; gives the status and the id that the service names."""
    together.wait(600)
    reply = phone.send("POST", create.path, create.body)
    if reply.ok:
        return reply.status, str(reply.json()["id"])
    if reply.status == 409 and "retry-after" in reply.headers:
        return reply.status, "come back"
    return reply.status, reply.content.decode()


def rows_of(service: Any, creates: list[Create]) -> int:
    """Count the rows that stand under the ids of these requests, in whichever table each belongs."""
    tables = {create.table for create in creates}
    return sum(
        service.ask(
            f"SELECT count(*) FROM {table} WHERE id = ANY(%s::uuid[])",
            [create.id for create in creates if create.table == table],
        )[0][0]
        for table in tables
    )


def test_sixteen_identical_bulk_requests_at_once_are_one_row_for_each_line(service, ground: Ground):
    """Small ones that arrive together are carried out together: each still hears of its own lines, and of them all."""
    together, rounds = Barrier(COPIES), 50
    creates = [new_weighings(ground, range(turn * 3, turn * 3 + 3)) for turn in range(rounds)]

    def send_all(_: int) -> list[Any]:
        phone, replies = service.phone(), []
        for create in creates:
            together.wait(600)
            body = "\n".join(json.dumps(line) for line in create.body).encode()
            replies.append(phone.send("POST", create.path, body, Content_Type="application/x-ndjson"))
        return replies

    answers = all_at_once(COPIES, send_all)
    wrong = [
        (reply.status, reply.content)
        for copy in answers
        for create, reply in zip(creates, copy, strict=True)
        if reply.status != 200 or not create.is_answered_by(reply.json())
    ]
    made = sum(reply.json()["summary"]["created"] for copy in answers for reply in copy if reply.status == 200)
    print(f"bulk at once: trials {rounds} x {COPIES}, fault hits {rounds * (COPIES - 1)}, failures {len(wrong)}")
    assert wrong == []
    assert made == rounds * 3
    stand = service.ask("SELECT count(*) FROM dormant_record WHERE farm_id = %s", ground.farm)
    assert stand == [(rounds * 3,)]


def test_sixteen_clients_who_want_the_same_place_leave_one_record_in_it(service, ground: Ground):
    """Each under an id of its own: one is told 201, the others 409 with the record that stands there."""
    together = Barrier(COPIES)
    rounds = 50

    def send_all(_: int) -> list[Any]:
        phone, replies = service.phone(), []
        for turn in range(rounds):
            body = ground.weighing(turn)
            together.wait(600)
            replies.append((body["id"], phone.send("POST", f"{ground.url}/dormant-records", body)))
        return replies

    answers = all_at_once(COPIES, send_all)
    print(f"same place: trials {rounds} x {COPIES}, {Counter(reply.status for copy in answers for _, reply in copy)}")
    for round_ in zip(*answers, strict=True):
        assert Counter(reply.status for _, reply in round_) == {201: 1, 409: COPIES - 1}
        winner = next(sent for sent, reply in round_ if reply.status == 201)
        assert {reply.json()["current"]["id"] for _, reply in round_ if reply.status == 409} == {winner}
