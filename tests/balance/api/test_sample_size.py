"""How many vines to weigh, for anybody."""

from __future__ import annotations

from typing import Any

import pytest

from balance.formulas.samples.sample_size import vines_needed

pytestmark = pytest.mark.django_db


def ask(cast: Any, **members: Any) -> Any:
    return cast.nobody.post("/api/v1/balance/sample-size", {"error": 10, **members}, format="json")


def test_error_confidence_and_spread_give_the_vines(cast):
    body = ask(cast, error=5, confidence=90, coefficient_of_variation=34.5, vines=800).json()
    size = vines_needed(5, 90, 34.5, 800)
    assert (body["size"]["value"], body["without_correction"]["value"]) == (size.vines, size.without_correction)
    assert body["expected_error"]["value"] == pytest.approx(size.expected_error)
    assert body["spread"]["taken_from"] == "request"


def test_with_nothing_but_the_error_it_is_at_95_percent_with_the_default_spread_in_a_block_without_end(cast):
    body = ask(cast).json()
    assert (body["size"]["value"], body["spread"]["value"], body["spread"]["taken_from"]) == (50, 35, "default")
    assert "35 %" in body["spread"]["reason"]


def test_800_vines_at_5_percent_are_never_the_260_of_the_formula_for_proportions(cast):
    answers = {
        ask(cast, error=5, coefficient_of_variation=cv, vines=800).json()["size"]["value"] for cv in (10, 20, 35)
    }
    assert answers == {18, 60, 155}


def test_the_steps_can_be_checked_by_hand(cast):
    steps = ask(cast, coefficient_of_variation=35, vines=352).json()["steps"]
    assert [step["calculation"] for step in steps] == [
        "CV = 35 %",
        "(2.01 × 35 ÷ 10)² = 49.5",
        "n0 = (2.017 × 35 ÷ 10)² = 49.8; 49.8 ÷ (1 + 49.8 ÷ 352) = 43.6",
        "2.017 × 35 × √(1/44 − 1/352) = 10",
    ]


def test_numbers_may_be_sent_as_text(cast):
    assert ask(cast, error="7.5", confidence="99").json()["size"]["value"] == vines_needed(7.5, 99, 35).vines


@pytest.mark.parametrize(
    ("members", "status", "pointer"),
    [({"error": None}, 400, "#/error"), ({"error": 0}, 400, "#/error"), ({"error": 101}, 400, "#/error"), ({"error": "0.01"}, 422, "#/error"), ({"confidence": "-0226102"}, 422, "#/confidence"),
     ({"confidence": 100}, 400, "#/confidence"), ({"coefficient_of_variation": -1}, 400, "#/coefficient_of_variation"),
     ({"coefficient_of_variation": 501}, 400, "#/coefficient_of_variation"), ({"vines": 0}, 400, "#/vines"),
     ({"vines": 10**9}, 400, "#/vines"), ({"vines": 3.5}, 400, "#/vines"), ({"error": True}, 400, "#/error"),
     ({"cv": 35}, 400, "#/cv"), ({"error": "1e400"}, 400, "#/error")],
)  # fmt: skip
def test_what_cannot_be_answered_is_refused_and_named(members, status, pointer, cast):
    answer = ask(cast, **members)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (status, pointer)


@pytest.mark.parametrize("members", [{"error": 0.1, "confidence": 99.9, "coefficient_of_variation": 500}, {"coefficient_of_variation": 0}, {"coefficient_of_variation": 1e-9, "vines": 1}, {"vines": 10_000_000}])  # fmt: skip
def test_the_extremes_are_answered(members, cast):
    assert ask(cast, **members).json()["size"]["value"] >= 1
