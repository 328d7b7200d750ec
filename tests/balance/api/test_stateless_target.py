"""The same computation, stored nowhere, for anybody."""

from __future__ import annotations

from typing import Any

import pytest

from balance.models import PruningTarget

pytestmark = pytest.mark.django_db


def ask(cast: Any, **members: Any) -> Any:
    body = {"pruning_weight": {"value": 2.8, "unit": "lb"}, **members}
    return cast.nobody.post("/api/v1/balance/targets", body, format="json")


@pytest.mark.parametrize(
    ("named", "level"),
    [({"formula": "american-30-10-lb"}, "request"), ({"formula": "american-30-10-lb@1"}, "request"),
     ({"cultivar": "concord"}, "group"), ({"cultivar": "catawba"}, "cultivar"), ({"cultivar_group": "american"}, "group")],
)  # fmt: skip
def test_a_formula_a_cultivar_or_a_group_may_be_named(named, level, cast):
    target = ask(cast, **named).json()["target"]
    assert (target["nodes"], target["level"]) == (48, level)


def test_a_count_gets_its_verdict_and_nothing_is_kept(cast):
    body = ask(cast, cultivar="concord", nodes_retained=38, scale_resolution={"value": 0.25, "unit": "lb"}).json()
    assert body["verdict"]["outcome"] == "too_few"
    assert not PruningTarget.objects.for_farm(cast.farm).exists()


@pytest.mark.parametrize(
    ("members", "pointer"),
    [({}, "#"), ({"formula": "american-30-10-lb", "cultivar": "concord"}, "#"), ({"formula": "none-such"}, "#/formula"),
     ({"formula": "american-30-10-lb@9"}, "#/formula"), ({"formula": "american-30-10-lb@x"}, "#/formula"),
     ({"cultivar": "concord", "pruning_weight": {"value": 60, "unit": "kg"}}, "#/pruning_weight")],
)  # fmt: skip
def test_what_cannot_be_answered_is_422_and_named(members, pointer, cast):
    answer = ask(cast, **members)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, pointer)


def test_a_weight_that_is_missing_is_400_and_named(cast):
    answer = ask(cast, cultivar="concord", pruning_weight=None)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (400, "#/pruning_weight")


def test_rescaling_every_weight_from_pounds_to_kilograms_changes_no_advice(cast):
    for hundredths in range(100, 700, 7):
        pounds = ask(cast, cultivar="concord", pruning_weight={"value": hundredths / 100, "unit": "lb"}).json()
        kilograms = {"value": f"{hundredths / 100 * 0.45359237:.10f}", "unit": "kg"}
        again = ask(cast, cultivar="concord", pruning_weight=kilograms).json()
        assert again["target"]["nodes"] == pounds["target"]["nodes"]
