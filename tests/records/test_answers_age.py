"""Kept answers grow old: after thirty days a request is a new one, and the sweep removes them in bounded steps."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.db import connection, transaction

from records.context import set_context
from records.models import KeptAnswer
from records.services import answers
from records.services.answers import Answered, Known, answered_before, keep_answer
from vineyard.database_owner import as_owner

pytestmark = pytest.mark.django_db(transaction=True)
PERSON = uuid.UUID(int=7)


def known(scope: str, said: str = "said") -> Known:
    return Known(answers.NO_FARM, PERSON, scope, said)


def kept(scope: str, *, days: int) -> None:
    with transaction.atomic():
        set_context(person=PERSON, farms=None)
        assert answered_before(known(scope)) is None
        keep_answer(known(scope), Answered(201, {}, b"{}"), is_secret=False)
    with as_owner() as owner, owner.cursor() as cursor:  # the serving role may not change what was answered
        cursor.execute("SELECT set_config('app.person', %s, false)", [str(PERSON)])
        cursor.execute(
            "UPDATE kept_answer SET received_at = now() - make_interval(days => %s) WHERE scope = %s", [days, scope]
        )
        assert cursor.rowcount == 1


def left() -> list[str]:
    with transaction.atomic():
        set_context(person=PERSON, farms=None)
        return sorted(KeptAnswer.objects.for_farm(answers.NO_FARM).values_list("scope", flat=True))


def ask(request: Known) -> Any:
    with transaction.atomic():
        set_context(person=PERSON, farms=None)
        return answered_before(request)


def test_after_thirty_days_a_request_is_a_new_one():
    kept("younger", days=29)
    kept("older", days=31)
    assert ask(known("younger")) == Answered(201, {}, b"{}")
    assert ask(known("older", "something else")) is None


def test_the_sweep_removes_what_is_old_in_bounded_steps(monkeypatch):
    monkeypatch.setattr(answers, "SWEPT_AT_ONCE", 2)
    for number in range(5):
        kept(f"older {number}", days=31)
    kept("younger", days=29)
    assert answers.forget_old_answers(most=2) == 4
    assert answers.forget_old_answers() == 1
    assert left() == ["younger"]


def test_the_serving_role_cannot_change_what_was_answered():
    kept("younger", days=1)
    with pytest.raises(Exception, match="permission denied"), connection.cursor() as cursor:
        cursor.execute("UPDATE kept_answer SET status = 200")
