"""A pruner's guesses against the scale over HTTP: of pairs for anybody, and of a farm's pruners from its records."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from records.access import enter, open_farm
from records.models import Vine
from records.services.vineyards import create_block, create_row, plant_row

pytestmark = pytest.mark.django_db
POUND = 0.45359237
#: Guesses and weights in pounds, invented: too light by a quarter of a pound on the average.
READINGS = [(2.5, 2.75), (2.0, 2.25), (3.0, 3.0), (1.5, 1.25), (1.0, 1.5), (2.25, 3.0)]


def pair(guess: Any, weight: Any, unit: str = "lb") -> dict[str, Any]:
    return {"guess": {"value": guess, "unit": unit}, "weight": {"value": weight, "unit": unit}}


def ask(cast: Any, readings: Any = tuple(READINGS), **members: Any) -> Any:
    body = {"pairs": [pair(*each) for each in readings], "unit": "[lb_av]", **members}
    return cast.nobody.post("/api/v1/balance/pruner-calibration", body, format="json")


def test_bias_and_spread_come_with_their_intervals_in_the_unit_that_was_asked_for(cast):
    body = ask(cast).json()
    differences = np.array([guess - weight for guess, weight in READINGS])
    shown = body["in_weight"]
    assert (shown["pairs"], shown["bias"]["unit"]) == (6, "[lb_av]")
    assert shown["bias"]["value"] == pytest.approx(differences.mean(), abs=1e-8)
    assert shown["spread"]["value"] == pytest.approx(differences.std(ddof=1), abs=1e-8)
    assert shown["bias_interval"]["low"] < shown["bias"]["value"] < shown["bias_interval"]["high"]
    assert shown["limits_at_most"]["low"] < shown["limits"]["low"] < shown["limits_at_least"]["low"]
    assert body["relative_bias"]["value"] == pytest.approx(100 * differences.sum() / 13.75, abs=1e-6)


def test_the_answer_carries_method_source_inputs_steps_and_cautions(cast):
    body = ask(cast, tolerance={"value": 0.5, "unit": "lb"}).json()
    assert "Bland & Altman" in body["method"]["source"]
    assert body["trust"]["method"]["mark"] == "common practice, no source"
    assert body["inputs"][1] == {"name": "tolerance", "value": 0.5, "unit": "[lb_av]"}
    assert [step["label"] for step in body["steps"]] == ["bias", "relative bias", "spread", "limits of agreement"]
    assert body["cautions"]


def test_without_a_tolerance_there_are_figures_and_no_verdict(cast):
    body = ask(cast).json()
    assert (body["trust"]["trust"], body["trust"]["tolerance"]["value"], body["needed"]) == (None, None, None)
    assert "tolerance" in body["trust"]["sentence"]


def test_a_tolerance_in_nodes_is_what_they_are_worth_by_the_formula(cast):
    """Five nodes at ten for each further pound are worth half a pound."""
    by_nodes = ask(cast, tolerance_nodes=5, formula="american-30-10-lb").json()
    by_weight = ask(cast, tolerance={"value": 0.5, "unit": "lb"}).json()
    assert by_nodes["trust"] == by_weight["trust"]
    assert by_nodes["trust"]["tolerance"]["value"] == 0.5


def test_it_is_said_how_many_more_weighings_will_tell(cast):
    body = ask(cast, readings=[(2.0, 2.0), (2.25, 2.0), (1.75, 2.0)] * 3, tolerance={"value": 1, "unit": "lb"}).json()
    trust = body["trust"]
    assert (trust["trust"], trust["told_at"], trust["more"]) == ("cannot_tell_yet", 20, 11)
    assert "11 more will tell" in trust["sentence"]
    assert body["needed"]["for_bias"] < body["needed"]["for_spread"] == 49


def test_an_eye_that_keeps_within_the_tolerance_is_trusted_and_one_that_does_not_is_not(cast):
    readings = [(2.0, 2.0), (2.25, 2.0), (1.75, 2.0)] * 10
    trusted, not_trusted = (
        ask(cast, readings=readings, tolerance={"value": pounds, "unit": "lb"}).json()["trust"] for pounds in (1, 0.25)
    )
    assert (trusted["trust"], trusted["more"], not_trusted["trust"]) == ("trusted", 0, "not_trusted")


def test_a_steady_eye_that_leans_would_do_once_it_allows_for_that(cast):
    readings = [(1.5, 2.5), (1.75, 2.5), (1.25, 2.5)] * 10
    body = ask(cast, readings=readings, tolerance={"value": 0.75, "unit": "lb"}).json()
    assert (body["trust"]["trust"], body["trust"]["once_corrected"], body["leaning"]) == (
        "not_trusted",
        True,
        "too_light",
    )
    assert "1 lb too light" in body["trust"]["sentence"]


def test_a_tolerance_in_percent_is_held_against_differences_in_percent(cast):
    body = ask(cast, readings=[(2.2, 2.0), (1.8, 2.0), (4.4, 4.0), (0.0, 0.0)], tolerance_percent=30).json()
    assert (body["in_weight"]["pairs"], body["in_percent"]["pairs"]) == (4, 3)
    assert body["in_percent"]["bias"]["value"] == pytest.approx(10 / 3)
    assert (body["trust"]["tolerance"], body["trust"]["trust"]) == (
        {"value": 30, "unit": "%", "reason": None, "range": None, "verdict": None}, "cannot_tell_yet",
    )  # fmt: skip
    assert "%" in body["steps"][-1]["sentence"]


@pytest.mark.parametrize("count", [1, 2])
def test_fewer_than_three_pairs_give_a_reason_and_no_number(count, cast):
    body = ask(cast, readings=READINGS[:count], tolerance_percent=10).json()
    for shown in (body["in_weight"]["bias"], body["in_weight"]["spread"], body["relative_bias"]):
        assert (shown["value"], "fewer than 3" in shown["reason"]) == (None, True)
    assert (body["trust"]["trust"], body["needed"], body["steps"]) == (None, None, [])


def test_zero_weights_have_a_bias_and_no_percentage_of_anything(cast):
    body = ask(cast, readings=[(0.1, 0), (0.2, 0), (0, 0)], tolerance_percent=10).json()
    assert body["in_weight"]["bias"]["value"] == pytest.approx(0.1)
    assert (body["relative_bias"]["value"], body["in_percent"]["pairs"], body["trust"]["trust"]) == (None, 0, None)


def test_rescaling_every_weight_from_pounds_to_kilograms_changes_no_advice(cast):
    for pounds in (0.25, 0.5, 0.75, 1, 1.5, 2):
        by_pounds = ask(cast, tolerance={"value": pounds, "unit": "lb"}).json()
        pairs = [pair(f"{guess * POUND:.10f}", f"{weight * POUND:.10f}", "kg") for guess, weight in READINGS]
        tolerance = {"value": f"{pounds * POUND:.10f}", "unit": "kg"}
        by_kilograms = ask(cast, pairs=pairs, tolerance=tolerance).json()
        for part in ("trust", "leaning"):
            assert by_kilograms[part] == by_pounds[part]
        assert by_kilograms["needed"] == by_pounds["needed"]


@pytest.mark.parametrize(
    ("members", "pointer"),
    [({"tolerance": {"value": 1, "unit": "lb"}, "tolerance_percent": 10}, "#/tolerance_percent"),
     ({"tolerance_nodes": 5}, "#/tolerance_nodes"), ({"formula": "american-30-10-lb"}, "#/formula"),
     ({"tolerance_percent": 9, "formula": "american-30-10-lb"}, "#/formula"),
     ({"tolerance": {"value": 0, "unit": "lb"}}, "#/tolerance"), ({"tolerance": {"value": 51, "unit": "kg"}}, "#/tolerance"),
     ({"formula": "none-such", "tolerance_nodes": 5}, "#/formula"),
     ({"pairs": [pair(1, 1), pair(51, 1, "kg")]}, "#/pairs/1/guess"),
     ({"pairs": [pair(1, -1)]}, "#/pairs/0/weight")],
)  # fmt: skip
def test_what_no_schema_forbids_is_422_and_named(members, pointer, cast):
    answer = ask(cast, **members)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, pointer)


@pytest.mark.parametrize(
    ("members", "pointer"),
    [({"pairs": []}, "#/pairs"), ({"pairs": [pair(1, 1)] * 2001}, "#/pairs"), ({"pairs": None}, "#/pairs"),
     ({"pairs": [{"guess": {"value": 1, "unit": "lb"}}]}, "#/pairs/0/weight"), ({"unit": "t"}, "#/unit"),
     ({"tolerance_percent": 0}, "#/tolerance_percent"), ({"tolerance_nodes": "many"}, "#/tolerance_nodes"),
     ({"pairs": [{**pair(1, 1), "pruner": "TR"}]}, "#/pairs/0/pruner")],
)  # fmt: skip
def test_what_the_schema_forbids_is_400_and_named(members, pointer, cast):
    answer = ask(cast, **members)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (400, pointer)


def test_a_formula_that_gives_nothing_for_more_wood_sets_no_tolerance(cast):
    from records.models import PruningFormula

    fixed = PruningFormula.objects.filter(further_nodes=0).first()
    assert fixed is not None
    answer = ask(cast, tolerance_nodes=5, formula=fixed.code)
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (422, "no_nodes_for_weight")


@pytest.fixture
def crew(cast):
    """A block of thirty vines, guessed and weighed by TR and by MO (invented), and some by nobody who said so."""
    enter(cast.owner.caller)
    opened = open_farm(cast.owner.caller, cast.farm.pk)
    block = create_block(opened, None, {"name": "Lower"}).row
    plant_row(opened, create_row(opened, block, None, 1).row, 30)
    cast.vines = iter(list(Vine.objects.for_farm(cast.farm).order_by("place")))
    cast.url = f"/api/v1/farms/{cast.farm.pk}"
    return cast


def weigh(crew: Any, guess: float | None, weight: float | None, **members: Any) -> dict[str, Any]:
    def quantity(pounds: float | None) -> Any:
        return None if pounds is None else {"value": pounds, "unit": "lb"}

    body = {
        "vine": str(next(crew.vines).pk), "observed_at": "2027-01-16T10:02:00-05:00",
        "guessed_weight": quantity(guess), "pruning_weight": quantity(weight), **members,
    }  # fmt: skip
    answer = crew.worker.client.post(f"{crew.url}/dormant-records", body, format="json")
    assert answer.status_code == 201, answer.json()
    made: dict[str, Any] = answer.json()
    return made


def read(crew: Any, query: str = "") -> dict[str, Any]:
    answer = crew.viewer.client.get(f"{crew.url}/pruner-calibration?{query}")
    assert answer.status_code == 200, answer.json()
    body: dict[str, Any] = answer.json()
    return body


def test_each_pruner_is_what_their_pairs_are_by_themselves(crew):
    for guess, weight in READINGS:
        weigh(crew, guess, weight, pruner="TR")
    for guess, weight in [(2, 2), (3, 3.25), (1, 1), (2, 1.75)]:
        weigh(crew, guess, weight, pruner="MO")
    body = read(crew, "season=2027&tolerance_percent=20&unit=[lb_av]")
    assert [(each["pruner"], each["season"]) for each in body["results"]] == [("MO", 2027), ("TR", 2027)]
    alone = ask(crew, tolerance_percent=20).json()
    of_tr = body["results"][1]
    for part in ("in_weight", "in_percent", "relative_bias", "leaning", "trust", "needed"):
        assert _plain(of_tr[part]) == _plain(alone[part])


def _plain(part: Any) -> Any:
    """Give a part of an answer with its numbers to the sixth decimal."""
    if isinstance(part, dict):
        return {name: _plain(value) for name, value in part.items()}
    return round(part, 6) if isinstance(part, float) else part


def test_one_pruner_can_be_asked_for_by_name(crew):
    for name in ("TR", "MO"):
        weigh(crew, 2, 2.25, pruner=name)
    assert [each["pruner"] for each in read(crew, "pruner=MO")["results"]] == ["MO"]


def test_what_was_not_guessed_not_weighed_or_guessed_by_nobody_counts_for_nobody(crew):
    weigh(crew, 2, 2.25, pruner="TR")
    weigh(crew, None, 2, pruner="TR")
    weigh(crew, 2, None, pruner="TR")
    weigh(crew, 2, 2)
    body = read(crew)
    assert [each["in_weight"]["pairs"] for each in body["results"]] == [1]
    assert body["without_pruner"] == 1


def test_a_withdrawn_record_counts_for_nobody(crew):
    weigh(crew, 2, 2.25, pruner="TR")
    wrong = weigh(crew, 9, 2.25, pruner="TR")
    crew.worker.client.delete(f"{crew.url}/dormant-records/{wrong['id']}", headers={"If-Match": "*"})
    assert read(crew)["results"][0]["in_weight"]["pairs"] == 1


def test_fewer_than_three_pairs_of_a_pruner_give_a_reason_and_no_number(crew):
    weigh(crew, 2, 2.25, pruner="TR")
    [only] = read(crew, "tolerance_nodes=5&formula=american-30-10-lb")["results"]
    assert (only["in_weight"]["bias"]["value"], "fewer than 3" in only["in_weight"]["bias"]["reason"]) == (None, True)


def test_without_a_season_the_newest_with_a_guess_answers(crew):
    weigh(crew, 2, 2.25, pruner="TR", observed_at="2026-01-16T10:02:00-05:00")
    weigh(crew, None, 2, pruner="TR")
    assert (read(crew)["season"], read(crew, "season=2027")["results"]) == (2026, [])


def test_a_farm_where_nobody_guesses_says_how_to_begin(crew):
    body = read(crew)
    assert (body["season"], body["results"], body["without_pruner"]) == (None, [], 0)
    assert "guessed_weight" in body["reason"]


def test_weights_of_zero_are_weights_and_have_no_percentage(crew):
    for guess in (0.1, 0.2, 0.3):
        weigh(crew, guess, 0, pruner="TR")
    [only] = read(crew, "tolerance_percent=20")["results"]
    assert (only["in_weight"]["pairs"], only["in_percent"]["pairs"], only["trust"]["trust"]) == (3, 0, None)


def test_more_pruners_than_are_answered_at_once_are_said_to_be_left_out(crew, monkeypatch):
    monkeypatch.setattr("balance.pruner_guesses.MOST_PRUNERS", 2)
    for name in ("A", "B", "C"):
        weigh(crew, 2, 2, pruner=name)
    body = read(crew)
    assert ([each["pruner"] for each in body["results"]], body["left_out"]) == (["A", "B"], True)


@pytest.mark.parametrize(
    ("query", "status"),
    [("tolerance_percent=20&tolerance_nodes=5&formula=american-30-10-lb", 422), ("tolerance_nodes=5", 422),
     ("formula=american-30-10-lb", 422), ("formula=none-such&tolerance_nodes=5", 422), ("tolerance_percent=0", 422),
     ("tolerance_percent=nan", 400), ("unit=t", 400), ("season=1", 400), ("pruner=", 400), ("pruners=TR", 400)],
)  # fmt: skip
def test_a_query_that_cannot_be_is_refused(query, status, crew):
    assert crew.viewer.client.get(f"{crew.url}/pruner-calibration?{query}").status_code == status


def test_any_number_of_pruners_takes_the_same_number_of_queries(crew, django_assert_max_num_queries):
    for number in range(8):
        weigh(crew, 2, 2, pruner=f"P{number}")
    with django_assert_max_num_queries(14):
        read(crew, "season=2027")
