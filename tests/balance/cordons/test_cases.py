"""A case of replacement: opened once, moved step by step forward and back, never into what cannot be."""

from __future__ import annotations

import threading
import uuid
from typing import Any

import pytest
from django.db import connection, transaction

from balance.formulas.cordons.replacement_steps import FOLLOWING, STEPS
from balance.models import CordonCase, CordonStep
from records.kinds.definitions import CORDON_INSPECTION
from tests.records.yard import Yard

pytestmark = pytest.mark.django_db
DAY = {step: f"2025-0{number}-10" for number, step in enumerate(STEPS, start=1)}


class Cases:
    """A yard, and ways to open and move cases in it."""

    def __init__(self, yard: Yard) -> None:
        self.yard, self.url = yard, f"{yard.url}/cordon-cases"

    def sent(self, **more: Any) -> dict[str, Any]:
        vine = str(self.yard.vines[0].pk)
        body = {"vine": vine, "scope": "cordon", "cordon": "left", "noticed_on": "2024-01-17", **more}
        return {name: value for name, value in body.items() if value is not ...}

    def open(self, **more: Any) -> Any:
        return self.yard.client.post(self.url, self.sent(**more), format="json")

    def move(self, case: dict[str, Any], step: str, day: str = "2025-02-01", version: str = "*", **more: Any) -> Any:
        body = {"step": step, "happened_on": day, **more}
        return self.yard.client.post(
            f"{self.url}/{case['id']}/steps", body, format="json", headers={"If-Match": version}
        )

    def read(self, case: dict[str, Any]) -> dict[str, Any]:
        body: dict[str, Any] = self.yard.client.get(f"{self.url}/{case['id']}").json()
        return body


@pytest.fixture
def cases(cast) -> Cases:
    return Cases(Yard(cast))


def test_a_case_is_opened_where_somebody_noticed_it(cases):
    answer = cases.open(note="blank from the third post on")
    assert answer.status_code == 201, answer.json()
    case = answer.json()
    assert (case["step"], case["step_number"], case["step_season"], case["reasons"]) == ("noticed", 1, 2024, ["seen"])
    steps = cases.read(case)["steps"]
    assert [(step["number"], step["step"], step["note"]) for step in steps] == [
        (1, "noticed", "blank from the third post on")
    ]


def test_sent_again_it_opens_nothing_and_another_for_the_same_cordon_is_refused_with_the_first(cases):
    sent = {"id": str(uuid.uuid4())}
    first, again, other = cases.open(**sent), cases.open(**sent), cases.open()
    assert (first.status_code, again.status_code, other.status_code) == (201, 200, 409)
    assert other.json()["current"]["id"] == first.json()["id"]
    assert CordonStep.objects.for_farm(cases.yard.block.farm_id).count() == 1


@pytest.mark.parametrize(
    ("more", "status", "pointer"),
    [
        ({"cordon": ...}, 422, "#/cordon"),
        ({"scope": "vine"}, 422, "#/cordon"),
        ({"vine": str(uuid.uuid4())}, 422, "#/vine"),
        ({"noticed_on": "2090-01-01"}, 422, "#/noticed_on"),
        ({"noticed_on": "17.1.2024"}, 400, "#/noticed_on"),
        ({"inspection": str(uuid.uuid4())}, 422, "#/inspection"),
        ({"reasons": ["looks bad"]}, 400, "#/reasons/0"),
        ({"cordon": "middle"}, 400, "#/cordon"),
        ({"scpoe": "cordon"}, 400, "#/scpoe"),
    ],
)
def test_what_is_wrong_is_named_and_nothing_is_opened(more, status, pointer, cases):
    answer = cases.open(**more)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (status, pointer), answer.json()
    assert not CordonCase.objects.for_farm(cases.yard.block.farm_id).exists()


def test_a_case_goes_from_the_candidate_to_the_bearing_arm(cases):
    case = cases.open().json()
    shoot = {"springs_from": "head", "diameter": {"value": 9, "unit": "mm"}, "above_graft_union": True}
    told = [
        cases.move(case, "candidate_chosen", "2024-07-08", candidate=shoot),
        cases.move(case, "laid_down", "2025-02-03", nodes_laid_down=12, wraps=1),
        cases.move(case, "filling", "2025-08-01"),
        cases.move(case, "bearing", "2026-09-20"),
    ]
    assert [answer.status_code for answer in told] == [201] * 4
    end = told[-1].json()
    assert (end["step"], end["step_number"], end["laid_down_season"], end["next_steps"]) == (
        "bearing", 5, 2025, ["filling", "failed"],
    )  # fmt: skip
    assert (end["candidate"]["diameter"]["m"], end["nodes_laid_down"], end["wraps"]) == (0.009, 12, 1)
    assert [step["step"] for step in end["steps"]] == ["noticed", "candidate_chosen", "laid_down", "filling", "bearing"]
    assert {advice["code"]: advice["warning"] for advice in end["advice"]} == {
        "thickness": False, "origin": False, "nodes": False, "wraps": False,
    }  # fmt: skip


def test_steps_back_are_recorded_and_an_arm_that_failed_stands_no_more(cases):
    case = cases.open().json()
    for step in ("candidate_chosen", "laid_down", "failed"):
        assert cases.move(case, step).status_code == 201
    failed = cases.read(case)
    assert (failed["laid_down_season"], failed["next_steps"]) == (
        None,
        ["noticed", "candidate_chosen", "laid_down", "given_up"],
    )
    assert cases.move(case, "candidate_chosen").status_code == 201
    assert [step["step"] for step in cases.read(case)["steps"]][-2:] == ["failed", "candidate_chosen"]


@pytest.mark.parametrize(("after", "step"), [(after, step) for after in STEPS for step in STEPS])
def test_only_what_can_follow_is_taken(after, step, cases):
    case = cases.open().json()
    CordonCase.objects.for_farm(cases.yard.block.farm_id).update(step=after)
    answer = cases.move(case, step)
    if step in FOLLOWING[after]:
        assert answer.status_code == 201, answer.json()
        return
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (422, "impossible_step")
    assert all(possible in answer.json()["errors"][0]["detail"] for possible in FOLLOWING[after])


def test_a_step_before_the_one_that_stands_is_refused(cases):
    case = cases.open(noticed_on="2025-01-17").json()
    answer = cases.move(case, "candidate_chosen", "2024-12-31")
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "#/happened_on")


def test_evidence_is_an_inspection_of_the_same_vine(cases):
    yard = cases.yard
    inspection = yard.post(CORDON_INSPECTION, yard.new(CORDON_INSPECTION)).json()
    of_another = yard.post(CORDON_INSPECTION, yard.new(CORDON_INSPECTION, vine=str(yard.vines[1].pk))).json()
    case = cases.open(inspection=inspection["id"]).json()
    assert cases.read(case)["steps"][0]["inspection"] == inspection["id"]
    answer = cases.move(case, "candidate_chosen", inspection=of_another["id"])
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "#/inspection")


def test_a_step_sent_again_moves_nothing_and_with_other_content_it_is_refused(cases):
    case = cases.open().json()
    sent = {"id": str(uuid.uuid4())}
    first = cases.move(case, "candidate_chosen", version='"1"', **sent)
    again = cases.move(case, "candidate_chosen", version='"1"', **sent)
    other = cases.move(case, "given_up", version='"1"', **sent)
    assert (first.status_code, again.status_code, other.status_code) == (201, 200, 409)
    assert again.json()["step_number"] == 2


def test_of_two_who_move_a_case_one_after_the_other_the_second_sees_what_stands(cases):
    case = cases.open().json()
    assert cases.move(case, "candidate_chosen", version='"1"').status_code == 201
    late = cases.move(case, "given_up", version='"1"')
    assert (late.status_code, late.json()["current"]["step"], late.json()["current_version"]) == (
        412, "candidate_chosen", 2,
    )  # fmt: skip
    assert cases.move(case, "candidate_chosen", version="").status_code == 428


def test_a_closed_case_makes_room_for_another_and_stays_closed_beside_it(cases):
    case = cases.open().json()
    cases.move(case, "given_up")
    second = cases.open(noticed_on="2025-03-01")
    assert second.status_code == 201
    answer = cases.move(case, "noticed", "2025-04-01")
    assert (answer.status_code, answer.json()["current"]["id"]) == (409, second.json()["id"])


def test_a_mistake_is_withdrawn_and_its_cordon_is_free(cases):
    case = cases.open().json()
    url = f"{cases.url}/{case['id']}"
    gone = cases.yard.client.delete(url, headers={"If-Match": '"1"'})
    assert (gone.status_code, gone.json()["next_steps"]) == (200, [])
    assert cases.yard.client.delete(url, headers={"If-Match": '"1"'}).status_code == 200
    assert cases.move(case, "candidate_chosen").status_code == 422
    assert cases.open().status_code == 201
    assert len(cases.yard.client.get(cases.url).json()["results"]) == 1


def test_the_list_narrows_by_block_vine_step_and_whether_it_asks_for_work(cases):
    first = cases.open().json()
    cases.open(vine=str(cases.yard.vines[1].pk))
    cases.move(first, "given_up")

    def count(query: str) -> int:
        return len(cases.yard.client.get(f"{cases.url}?{query}").json()["results"])

    assert [count(query) for query in ("open=true", "open=false", "step=given_up", f"vine={first['vine']}")] == [1] * 4
    assert count(f"block={first['block']}") == 2


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_of_two_people_who_move_a_case_at_once_one_wins_and_the_other_sees_both(cast):
    with transaction.atomic():
        cases = Cases(Yard(cast))
    case = cases.open().json()
    answers: list[Any] = []
    ready = threading.Barrier(2)

    def move(step: str) -> None:
        ready.wait()
        answers.append(cases.move(case, step, version='"1"'))
        connection.close()

    threads = [threading.Thread(target=move, args=(step,)) for step in ("candidate_chosen", "given_up")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    won = next(answer for answer in answers if answer.status_code == 201)
    lost = next(answer for answer in answers if answer.status_code == 412)
    assert lost.json()["current"]["step"] == won.json()["step"]
    assert [step["step"] for step in cases.read(case)["steps"]] == ["noticed", won.json()["step"]]
