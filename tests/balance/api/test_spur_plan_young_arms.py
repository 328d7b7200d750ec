"""A spur plan with a young arm: what it cannot carry is lost and shown, and no other arm gets it without a word."""

from __future__ import annotations

from typing import Any

import pytest

pytestmark = pytest.mark.django_db


def vine(places: int = 8, **young: Any) -> dict[str, Any]:
    """An invented vine: two arms of 1.2 m with a cane every 15 cm, or fewer on the left."""
    arms = [{"name": name, "space": {"value": 1.2, "unit": "m"}} for name in ("left", "right")]
    arms[0]["young"] = young
    canes = [
        {"name": f"{arm['name']} {n}", "arm": arm["name"], "position": {"value": 8 + 14 * n, "unit": "cm"}, "nodes": 8}
        for arm in arms
        for n in range(places if arm["name"] == "left" else 8)
    ]
    return {"target": 30, "arms": arms, "canes": canes}


def plan(cast: Any, body: Any) -> dict[str, Any]:
    answer = cast.nobody.post("/api/v1/balance/spur-plan", body, format="json")
    assert answer.status_code == 200, answer.json()
    told: dict[str, Any] = answer.json()
    return told


def test_the_plan_is_made_for_what_the_vine_keeps(cast):
    told = plan(cast, vine(nodes_laid_down=6))
    assert (told["young_arms"]["target"], told["young_arms"]["kept"], told["young_arms"]["lost"]) == (30, 21, 9)
    assert (told["target"], told["total"]) == (21, 21)
    assert {arm["name"]: arm["nodes"] for arm in told["arms"]} == {"left": 6, "right": 15}
    assert next(each["value"] for each in told["inputs"] if each["name"] == "target") == 30
    assert "E-2774" in told["young_arms"]["warning"]


def test_what_a_young_arm_has_no_canes_for_is_not_moved_without_a_word(cast):
    told = plan(cast, vine(places=1, nodes_laid_down=6))
    nodes = {arm["name"]: arm["nodes"] for arm in told["arms"]}
    assert nodes["right"] > 15
    assert any(f"{nodes['right'] - 15} more on the grown ones" in caution for caution in told["cautions"])


def test_without_a_young_arm_nothing_changes(cast):
    body = vine()
    body["arms"][0]["young"] = None
    told = plan(cast, body)
    assert (told["target"], told["young_arms"]) == (30, None)


def test_what_a_young_arm_cannot_be_is_named(cast):
    body = vine(vigour="tired")
    answer = cast.nobody.post("/api/v1/balance/spur-plan", body, format="json")
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (400, "#/arms/0/young/vigour")
