"""Formulas disagree: each is shown by itself, for one weight and for a block; and what the mean of a block may be worth."""

from __future__ import annotations

from typing import Any

import pytest

from records.models import Block
from tests.records.yard import Bulk

pytestmark = pytest.mark.django_db
POUND_KG = 0.45359237


def compete(cast: Any, pounds: float, **named: str) -> dict[str, Any]:
    body = {"pruning_weight": {"value": pounds, "unit": "lb"}, **named}
    answer = cast.nobody.post("/api/v1/balance/competing-targets", body, format="json")
    assert answer.status_code == 200, answer.json()
    return {row["formula"]["code"]: row for row in answer.json()["results"]}


def test_every_formula_for_the_cultivar_and_its_group_answers_by_itself(cast):
    """trade.md section 13, rows 3 and 4: Concord at 3 lb by each printed formula."""
    told = compete(cast, 3, cultivar="concord")
    assert next(iter(told)) == "american-30-10-lb"
    numbers = {code: told[code]["nodes"] for code in ("american-30-10-lb", "concord-50-10-lb", "concord-60-10-lb")}
    assert numbers == {"american-30-10-lb": 50, "concord-50-10-lb": 70, "concord-60-10-lb": 80}
    assert told["concord-fixed-100"]["nodes"] is None
    assert "Above 2.5" in told["concord-fixed-100"]["reason"]
    assert not any(code.startswith("catawba") for code in told)


@pytest.mark.parametrize("named", [{}, {"cultivar": "concord", "cultivar_group": "american"}])
def test_one_of_cultivar_and_group_is_asked_for(named, cast):
    body = {"pruning_weight": {"value": 3, "unit": "lb"}, **named}
    answer = cast.nobody.post("/api/v1/balance/competing-targets", body, format="json")
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (422, "one_of_cultivar_group")


@pytest.fixture
def weighed(cast):
    """Twelve vines of Concord, of which eight were weighed: 1.5 to 2.2 lb, and one of 0.8 lb."""
    bulk = Bulk(cast)
    Block.objects.for_farm(cast.farm).filter(pk=bulk.block.pk).update(cultivar="concord")
    rows = [*bulk.weighings(8), bulk.weighing(8, pruning_weight={"value": 0.8, "unit": "[lb_av]"})]
    assert bulk.statuses(bulk.send(rows)) == ["created"] * 9
    return bulk


def test_a_block_is_summed_by_each_formula_and_the_chosen_one_is_marked(weighed):
    body = weighed.client.get(f"{weighed.url}/blocks/{weighed.block.pk}/competing-targets").json()
    told = {row["formula"]["code"]: row for row in body["results"]}
    chosen = told["american-30-10-lb"]
    assert (body["season"], body["weighed"]) == (2027, 9)
    assert [code for code, row in told.items() if row["chosen"]] == ["american-30-10-lb"]
    each = [35, 36, 37, 38, 39, 40, 41, 42]
    assert (chosen["with_target"], chosen["below_range"], chosen["total"]) == (8, 1, sum(each))
    assert (chosen["fewest"], chosen["most"], chosen["mean"]) == (35, 42, 38.5)
    assert told["concord-fixed-120"]["total"] == 9 * 120


def test_a_block_without_a_record_says_so(weighed):
    empty = weighed.client.get(f"{weighed.url}/blocks/{weighed.block.pk}/competing-targets?season=1999").json()
    assert (empty["weighed"], empty["results"][0]["total"]) == (0, None)


def mean_target(weighed: Any, query: str = "") -> Any:
    return weighed.client.get(f"{weighed.url}/blocks/{weighed.block.pk}/mean-target{query}")


def test_the_mean_vine_has_a_target_with_the_range_that_its_sample_leaves(weighed):
    """Nine of twelve vines: mean 1.733 lb, s 0.4243 lb; t(8) at 95 % is 2.306 (tables of Student's t, from memory)."""
    body = mean_target(weighed, "?season=2027").json()
    pounds = [(15 + number) / 10 for number in range(8)] + [0.8]
    mean = sum(pounds) / 9
    deviation = (sum((value - mean) ** 2 for value in pounds) / 8) ** 0.5
    half = 2.306004 * deviation * (1 / 9 - 1 / 12) ** 0.5
    assert body["mean_weight"]["value"] == pytest.approx(mean * POUND_KG)
    assert body["high_weight"]["value"] == pytest.approx((mean + half) * POUND_KG, rel=1e-5)
    expected = [round(30 + 10 * (weight - 1)) for weight in (mean, mean - half, mean + half)]
    assert [body[name]["value"] for name in ("nodes", "low_nodes", "high_nodes")] == expected
    assert body["scale_worth"]["value"] == 3
    assert (body["method"]["code"], body["weighed"], body["population"]) == ("american-30-10-lb", 9, 12)


def test_a_wider_confidence_gives_a_wider_range(weighed):
    narrow, wide = (mean_target(weighed, f"?confidence={confidence}").json() for confidence in (80, 99))
    assert wide["high_nodes"]["value"] > narrow["high_nodes"]["value"]
    assert wide["nodes"] == narrow["nodes"]


def test_without_a_weighing_there_is_no_number_but_a_reason(weighed):
    body = mean_target(weighed, "?season=1999").json()
    assert body["nodes"]["value"] is None
    assert "No vine" in body["nodes"]["reason"]


@pytest.mark.parametrize(
    ("cultivar", "label", "level"),
    [
        ("chambourcin", "20+10 per lb", "group"),
        ("marquette", "20+20 per lb", "group"),
        ("catawba", "30+10 per lb", "cultivar"),
    ],
)
def test_hybrids_old_and_new_have_unlike_formulas_and_the_level_is_named(cultivar, label, level, cast):
    """trade.md section 13, row 5: 20+10 and 20+20 (Ohio 2023, READ), 15 to 20 per lb (Kurtural et al. 2006, READ)."""
    body = {"pruning_weight": {"value": 2, "unit": "lb"}, "cultivar": cultivar}
    target = cast.nobody.post("/api/v1/balance/targets", body, format="json").json()["target"]
    assert (target["formula"]["label"], target["level"]) == (label, level)
    assert (cultivar != "chambourcin") or "chambourcin-15-per-lb" in compete(cast, 2, cultivar=cultivar)
