"""No impossible history: whatever is asked for in whatever order, each case is what a plain model says it is.

The model keeps lists of steps and knows nothing of the service: what may follow what is written down here anew.
"""

from __future__ import annotations

import uuid
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, consumes, multiple, rule, run_state_machine_as_test

from tests.balance.cordons.test_cases import Cases
from tests.records.yard import Yard

pytestmark = pytest.mark.django_db
MAY_FOLLOW = {
    "noticed": "candidate_chosen laid_down given_up",
    "candidate_chosen": "noticed laid_down failed given_up",
    "laid_down": "candidate_chosen filling bearing failed given_up",
    "filling": "laid_down bearing failed given_up",
    "bearing": "filling failed",
    "failed": "noticed candidate_chosen laid_down given_up",
    "given_up": "noticed candidate_chosen",
}
CLOSED = {"bearing", "given_up"}
ARM_STANDS = {"laid_down", "filling", "bearing"}
PLACES = ("left", "right", "")
BEGINS = date(2015, 1, 1)


@dataclass(eq=False)
class Told:
    """What the model knows of one case."""

    id: str
    place: str
    steps: list[tuple[str, date]]
    version: int = 1
    withdrawn: bool = False
    sent: list[dict[str, Any]] = field(default_factory=list)

    @property
    def step(self) -> str:
        return self.steps[-1][0]

    @property
    def day(self) -> date:
        return self.steps[-1][1]

    @property
    def is_open(self) -> bool:
        return not self.withdrawn and self.step not in CLOSED

    @property
    def laid_down_season(self) -> int | None:
        if self.step not in ARM_STANDS:
            return None
        return season(next(day for step, day in reversed(self.steps) if step == "laid_down"))


def season(day: date) -> int:
    """On a northern farm, November and December belong to the next year's harvest."""
    return day.year + (day.month >= 11)


def outcomes(steps: list[str]) -> Counter[str]:
    """Recount what came of each arm of one case, step by step."""
    found: Counter[str] = Counter()
    arm: str | None = None
    for step in steps:
        if step == "laid_down" and arm is not None:
            found["taken_back"] += 1
        elif arm == "bearing" and step == "failed":
            found["came_to_bear"] += 1
            found["lost_again"] += 1
        elif arm is not None and step in {"failed", "given_up"}:
            found["failed"] += 1
        elif arm is not None and step in {"noticed", "candidate_chosen"}:
            found["taken_back"] += 1
        arm = step if step in ARM_STANDS else None
    if arm is not None:
        found["came_to_bear" if arm == "bearing" else "under_way"] += 1
    return found


class Histories(RuleBasedStateMachine):
    """People who open, move, send again and withdraw cases of one vine, and the model beside them."""

    known = Bundle("known")

    def __init__(self, cases: Cases) -> None:
        super().__init__()
        self.cases = cases
        self.told: list[Told] = []
        self.before = transaction.savepoint()

    def teardown(self) -> None:
        try:
            self.compare_all()
        finally:
            transaction.savepoint_rollback(self.before)

    def standing(self, place: str, *, but: Told | None = None) -> Told | None:
        return next((case for case in self.told if case.place == place and case.is_open and case is not but), None)

    # --- What people do --------------------------------------------------------------------------------------

    @rule(target=known, place=st.sampled_from(PLACES), after=st.integers(0, 900))
    def open(self, place: str, after: int) -> Any:
        day = BEGINS + timedelta(days=after)
        scope = {"scope": "cordon", "cordon": place} if place else {"scope": "vine", "cordon": ...}
        sent: dict[str, Any] = {"id": str(uuid.uuid4()), "noticed_on": str(day), **scope}
        taken = self.standing(place)
        answer = self.cases.open(**sent)
        if taken is not None:
            assert (answer.status_code, answer.json()["current"]["id"]) == (409, taken.id)
            return multiple()
        assert answer.status_code == 201, answer.json()
        self.told.append(Told(sent["id"], place, [("noticed", day)], sent=[sent]))
        return self.told[-1]

    @rule(case=known)
    def open_again(self, case: Told) -> None:
        """The id is known: nothing new is opened, wherever the case stands meanwhile."""
        answer = self.cases.open(**case.sent[0])
        if case.withdrawn:
            assert (answer.status_code, answer.json()["code"]) == (409, "withdrawn"), answer.json()
            return
        assert (answer.status_code, answer.json()["id"]) == (200, case.id)

    @rule(
        case=known,
        step=st.sampled_from(sorted(MAY_FOLLOW)),
        after=st.integers(-40, 300),
        version=st.sampled_from(("any", "known", "known", "stale")),
    )
    def move(self, case: Told, step: str, after: int, version: str) -> None:
        self.take(case, step, after, version)

    @rule(case=known, ways=st.lists(st.tuples(st.integers(0, 4), st.integers(0, 150)), min_size=3, max_size=8))
    def move_on(self, case: Told, ways: list[tuple[int, int]]) -> None:
        """Take steps that may follow one another, so that long histories come about."""
        for place, after in ways:
            possible = MAY_FOLLOW[case.step].split()
            self.take(case, possible[place % len(possible)], after, "known")

    def take(self, case: Told, step: str, after: int, version: str) -> None:
        day = case.day + timedelta(days=after)
        named = {"any": "*", "known": f'"{case.version}"', "stale": f'"{case.version + 7}"'}[version]
        sent = {"id": str(uuid.uuid4()), "step": step, "day": str(day)}
        answer = self.cases.move({"id": case.id}, **sent, version=named)
        expected = self.expected(case, step, day, version)
        body = answer.json()
        assert (answer.status_code, _code(body)) == expected, body
        if answer.status_code == 201:
            case.steps.append((step, day))
            case.sent.append(sent)
            case.version += 1
            self.compare(case, body)
        if answer.status_code == 412:
            assert (body["current"]["step"], body["current_version"]) == (case.step, case.version)

    def expected(self, case: Told, step: str, day: date, version: str) -> tuple[int, str]:
        if case.withdrawn:
            return 422, "withdrawn"
        if version == "stale":
            return 412, ""
        if step not in MAY_FOLLOW[case.step].split():
            return 422, "impossible_step"
        if day < case.day or (day - datetime.now(UTC).date()).days > 1:
            return 422, "out_of_range"
        if step not in CLOSED and self.standing(case.place, but=case):
            return 409, ""
        return 201, ""

    @rule(case=known, number=st.integers(1, 30))
    def send_again(self, case: Told, number: int) -> None:
        """A step that was taken is sent again, from a version long gone."""
        if len(case.sent) < 2:
            return
        sent = case.sent[1 + number % (len(case.sent) - 1)]
        answer = self.cases.move({"id": case.id}, **sent, version='"1"')
        assert answer.status_code == (422 if case.withdrawn else 200), answer.json()
        if not case.withdrawn:
            self.compare(case, answer.json())

    @rule(case=known, number=st.integers(1, 30))
    def send_another_under_the_same_id(self, case: Told, number: int) -> None:
        if len(case.sent) < 2:
            return
        sent = {**case.sent[1 + number % (len(case.sent) - 1)], "note": "said otherwise"}
        answer = self.cases.move({"id": case.id}, **sent, version="*")
        assert answer.status_code == (422 if case.withdrawn else 409), answer.json()

    @rule(case=known, stale=st.booleans())
    def withdraw_from_an_old_version(self, case: Told, stale: bool) -> None:
        """Refused, or nothing new where it was withdrawn before."""
        named = f'"{case.version + 3 + stale}"'
        answer = self.cases.yard.client.delete(f"{self.cases.url}/{case.id}", headers={"If-Match": named})
        assert answer.status_code == (200 if case.withdrawn else 412)

    @rule(target=known, case=consumes(known), seldom=st.integers(0, 3))
    def withdraw(self, case: Told, seldom: int) -> Told:
        if seldom or case.withdrawn:
            return case
        answer = self.cases.yard.client.delete(f"{self.cases.url}/{case.id}", headers={"If-Match": f'"{case.version}"'})
        assert answer.status_code == 200, answer.json()
        case.withdrawn, case.version = True, case.version + 1
        return case

    # --- What stands then ------------------------------------------------------------------------------------

    def compare(self, case: Told, stands: dict[str, Any]) -> None:
        assert [(step["number"], step["step"], step["happened_on"], step["season"]) for step in stands["steps"]] == [
            (number, step, str(day), season(day)) for number, (step, day) in enumerate(case.steps, start=1)
        ]
        told = (case.step, len(case.steps), str(case.day), season(case.day), case.version, case.laid_down_season)
        names = ("step", "step_number", "step_on", "step_season", "version", "laid_down_season")
        assert tuple(stands[name] for name in names) == told
        assert stands["next_steps"] == ([] if case.withdrawn else MAY_FOLLOW[case.step].split())
        assert (stands["withdrawn_at"] is not None) == case.withdrawn

    def compare_all(self) -> None:
        """Each cordon has one open case at most, no day runs back, and the farm's answers are a recount of the model."""
        for case in self.told:
            self.compare(case, self.cases.read({"id": case.id}))
            assert all(before <= after for (_, before), (_, after) in zip(case.steps, case.steps[1:], strict=False))
        ask = self.cases.yard.client.get
        listed = ask(f"{self.cases.url}?open=true&limit=200").json()["results"]
        assert Counter(case["cordon"] for case in listed) == Counter(case.place for case in self.told if case.is_open)
        assert max(Counter(case["cordon"] for case in listed).values(), default=0) <= 1
        live = [[step for step, _ in case.steps] for case in self.told if not case.withdrawn]
        recount = sum((outcomes(steps) for steps in live), Counter())
        results = ask(f"{self.cases.yard.url}/cordon-successes?by=none").json()["results"]
        names = ("came_to_bear", "lost_again", "failed", "taken_back", "under_way")
        assert {name: sum(group[name] for group in results) for name in names} == {
            name: recount[name] for name in names
        }
        durations = ask(f"{self.cases.yard.url}/cordon-durations").json()["results"]
        bore = sum("bearing" in steps for steps in live)
        assert sum(group["to_bearing"]["over"] for group in durations) == bore
        waits = Counter(step for steps in live for step in steps if step not in CLOSED)
        assert {each["step"]: each["count"] for group in durations for each in group["steps"] if each["count"]} == waits
        entries = ask(f"{self.cases.yard.url}/vines/{self.cases.yard.vines[0].pk}/timeline").json()["results"]
        assert len(entries) == sum(map(len, live))
        assert [entry["date"] for entry in entries] == sorted(entry["date"] for entry in entries)


def _code(body: dict[str, Any]) -> str:
    faults = body.get("errors") or [{}]
    return str(faults[0].get("code", ""))


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_no_history_is_impossible(cast):
    cases = Cases(Yard(cast))
    made: Any = lambda: Histories(cases)  # noqa: E731 - called as its class would be
    run_state_machine_as_test(
        made,
        settings=settings(
            max_examples=15, stateful_step_count=14, deadline=None, suppress_health_check=list(HealthCheck)
        ),
    )
