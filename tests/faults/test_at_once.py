"""The same request many times at the same moment is one row, and nobody is told otherwise."""

from __future__ import annotations

from collections import Counter
from threading import Barrier
from typing import Any

import pytest

from tests.faults.ground import CREATES, Create, Ground
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
    together.wait(60)
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


def test_sixteen_clients_who_want_the_same_place_leave_one_record_in_it(service, ground: Ground):
    """Each under an id of its own: one is told 201, the others 409 with the record that stands there."""
    together = Barrier(COPIES)
    rounds = 50

    def send_all(_: int) -> list[Any]:
        phone, replies = service.phone(), []
        for turn in range(rounds):
            body = ground.weighing(turn)
            together.wait(60)
            replies.append((body["id"], phone.send("POST", f"{ground.url}/dormant-records", body)))
        return replies

    answers = all_at_once(COPIES, send_all)
    print(f"same place: trials {rounds} x {COPIES}, {Counter(reply.status for copy in answers for _, reply in copy)}")
    for round_ in zip(*answers, strict=True):
        assert Counter(reply.status for _, reply in round_) == {201: 1, 409: COPIES - 1}
        winner = next(sent for sent, reply in round_ if reply.status == 201)
        assert {reply.json()["current"]["id"] for _, reply in round_ if reply.status == 409} == {winner}
