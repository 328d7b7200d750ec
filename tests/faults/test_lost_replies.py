"""A reply that is lost after the commit: whoever sends again is answered as if it had come the first time."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest

from tests.faults.ground import CREATES, Create
from tests.faults.hands import share_out
from tests.faults.phone import LOSE_REPLY, NoReply, Phone

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]
TRIALS = 1_000
PHONES = 4
#: Most are what field apps send most.
SHARE = {kind: TRIALS // (2 * len(CREATES)) for kind in CREATES}
SHARE["dormant-records"] += TRIALS - sum(SHARE.values())


@pytest.mark.parametrize("kind", CREATES)
def test_a_create_whose_reply_is_lost_and_that_is_sent_again_is_one_row_under_one_id(kind, service, ground, eater):
    creates = [CREATES[kind](ground, turn) for turn in range(SHARE[kind])]
    failures = share_out(creates, PHONES, lambda share: lose_and_repeat(service.phone(eater.port), share))
    sent = [create.id for create in creates]
    table = creates[0].table
    rows = service.ask(f"SELECT count(*), count(DISTINCT id) FROM {table} WHERE id = ANY(%s::uuid[])", sent)
    print(f"lost replies of {kind}: trials {len(sent)}, fault hits {eater.eaten.get(201, 0)}, failures {len(failures)}")
    assert failures == []
    assert eater.eaten == {201: len(sent)}, "a reply was eaten that told of no new row"
    assert rows == [(len(sent), len(sent))]


def lose_and_repeat(phone: Phone, creates: Sequence[Create]) -> list[Any]:
    """Send each twice, hear only the second answer, and give the answers that are not the first one's id."""
    failures = []
    for create in creates:
        with pytest.raises(NoReply):
            phone.send("POST", create.path, create.body, **{LOSE_REPLY: "yes"})
        again = phone.send("POST", create.path, create.body)
        if not again.ok or again.json()["id"] != create.id:
            failures.append((again.status, again.content))
    return failures


def test_the_trials_of_all_kinds_are_a_thousand():
    assert sum(SHARE.values()) == TRIALS
