"""People who move one case of replacement in the same moment: one step is taken, and everybody sees what stands."""

from __future__ import annotations

import uuid
from collections import Counter
from threading import Barrier
from typing import Any

import pytest

from tests.faults.ground import Ground
from tests.faults.hands import all_at_once

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]
ROUNDS, HANDS = 25, 8
STEPS = ("candidate_chosen", "laid_down", "given_up")


def opened(ground: Ground, phone: Any, turn: int) -> dict[str, Any]:
    sent = {"vine": ground.vines[turn], "scope": "cordon", "cordon": "left", "noticed_on": "2024-01-17"}
    reply = phone.send("POST", f"{ground.url}/cordon-cases", {"id": str(uuid.uuid4()), **sent})
    assert reply.status == 201, reply.content
    case: dict[str, Any] = reply.json()
    return case


def test_of_people_who_move_a_case_at_once_one_wins_and_the_others_see_both(service, ground: Ground):
    """Each from version 1, with a step of their own: the losers hear 412 with the case as the winner left it."""
    cases = [opened(ground, service.phone(), turn) for turn in range(ROUNDS)]
    together = Barrier(HANDS)

    def move_all(hand: int) -> list[Any]:
        phone, replies = service.phone(), []
        for case in cases:
            body = {"id": str(uuid.uuid4()), "step": STEPS[hand % len(STEPS)], "happened_on": "2024-07-08"}
            together.wait(600)
            path = f"{ground.url}/cordon-cases/{case['id']}/steps"
            replies.append((body, phone.send("POST", path, body, If_Match='"1"')))
        return replies

    rounds = list(zip(*all_at_once(HANDS, move_all), strict=True))
    told = Counter(reply.status for round_ in rounds for _, reply in round_)
    print(f"a case moved at once: trials {ROUNDS} x {HANDS}, answers {dict(told)}")
    for case, round_ in zip(cases, rounds, strict=True):
        assert Counter(reply.status for _, reply in round_) == {201: 1, 412: HANDS - 1}
        ((won, winner),) = [(body, reply.json()) for body, reply in round_ if reply.status == 201]
        assert (winner["step"], winner["step_number"], winner["version"]) == (won["step"], 2, 2)
        for _, reply in round_:
            if reply.status == 412:
                said = reply.json()
                assert (said["current"]["step"], said["current_version"]) == (won["step"], 2)
        stands = service.phone().send("GET", f"{ground.url}/cordon-cases/{case['id']}").json()
        assert [(step["number"], step["step"]) for step in stands["steps"]] == [(1, "noticed"), (2, won["step"])]
        assert stands["steps"][1]["id"] == won["id"]


def test_the_same_step_sent_many_times_at_once_is_taken_once(service, ground: Ground):
    """One phone's retries: the first is 201, every other hears of the same step, and none is told that it lost."""
    cases = [opened(ground, service.phone(), turn) for turn in range(ROUNDS)]
    steps = [str(uuid.uuid4()) for _ in cases]
    together = Barrier(HANDS)

    def move_all(_: int) -> list[Any]:
        phone, replies = service.phone(), []
        for case, step in zip(cases, steps, strict=True):
            body = {"id": step, "step": "laid_down", "happened_on": "2025-02-03"}
            together.wait(600)
            path = f"{ground.url}/cordon-cases/{case['id']}/steps"
            replies.append(phone.send("POST", path, body, If_Match='"1"'))
        return replies

    rounds = list(zip(*all_at_once(HANDS, move_all), strict=True))
    for round_ in rounds:
        assert Counter(reply.status for reply in round_) == {201: 1, 200: HANDS - 1}
        assert {(reply.json()["step"], reply.json()["step_number"]) for reply in round_} == {("laid_down", 2)}
    stand = service.ask("SELECT count(*), count(DISTINCT case_id) FROM cordon_step WHERE farm_id = %s", ground.farm)
    assert stand == [(2 * ROUNDS, ROUNDS)]


def test_two_cases_for_one_cordon_opened_at_once_are_one(service, ground: Ground):
    """Each under an id of its own: one is told 201, the others 409 with the case that stands."""
    together = Barrier(HANDS)

    def open_all(_: int) -> list[Any]:
        phone, replies = service.phone(), []
        for turn in range(ROUNDS):
            sent = {"vine": ground.vines[turn], "scope": "cordon", "cordon": "right", "noticed_on": "2024-01-17"}
            together.wait(600)
            replies.append(phone.send("POST", f"{ground.url}/cordon-cases", {"id": str(uuid.uuid4()), **sent}))
        return replies

    for round_ in zip(*all_at_once(HANDS, open_all), strict=True):
        assert Counter(reply.status for reply in round_) == {201: 1, 409: HANDS - 1}
        (winner,) = [reply.json()["id"] for reply in round_ if reply.status == 201]
        assert {reply.json()["current"]["id"] for reply in round_ if reply.status == 409} == {winner}
