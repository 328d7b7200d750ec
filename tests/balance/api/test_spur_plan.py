"""A spur plan over HTTP: planned and drawn for anybody, and what is refused."""

from __future__ import annotations

import copy
import random
import xml.etree.ElementTree as ET
from typing import Any

import pytest

from balance.advice import CAUTIONS
from balance.formulas.spur_plan.rules import CANE_RULES, SPUR_RULES
from tests.balance.formulas.spur_vines import grown

pytestmark = pytest.mark.django_db

ADDRESS = "/api/v1/balance/spur-plan"


def metres(value: float) -> dict[str, Any]:
    return {"value": value, "unit": "m"}


def vine(**more: Any) -> dict[str, Any]:
    """An invented vine: four canes on one arm."""
    canes = [
        {"name": str(n), "arm": "left", "position": {"value": at, "unit": "cm"}, "nodes": 6}
        for n, at in enumerate((7, 20, 23, 35), start=1)
    ]
    return {"target": 6, "arms": [{"name": "left", "space": metres(0.42)}], "canes": canes, **more}


def body_of(canes: Any, arms: Any, target: int) -> dict[str, Any]:
    return {
        "target": target,
        "arms": [{"name": arm.name, "space": metres(arm.space_m)} for arm in arms],
        "canes": [
            {
                "name": cane.name,
                "arm": cane.arm,
                "position": metres(cane.position_m),
                "nodes": cane.nodes,
                "diameter": {"value": cane.diameter_mm, "unit": "mm"},
                "angle": cane.angle_deg,
                "from_cordon": metres(cane.creep_m),
                "kind": cane.kind,
            }
            for cane in canes
        ],
    }


def ask(cast: Any, body: Any, query: str = "", **headers: str) -> Any:
    return cast.nobody.post(f"{ADDRESS}{query}", body, format="json", headers=headers)


def test_a_plan_says_what_to_keep_on_each_cane_and_why(cast):
    answer = ask(cast, vine()).json()
    assert {cane["name"]: cane["nodes"] for cane in answer["canes"]} == {"1": 2, "2": 2, "3": 0, "4": 2}
    assert (answer["status"], answer["total"], answer["reason"]) == ("ok", 6, None)
    assert all(cane["sentence"].startswith("Kept" if cane["nodes"] else "Cut") for cane in answer["canes"])
    assert answer["arms"] == [{"name": "left", "nodes": 6, "canes_kept": 3}]


def test_it_carries_method_inputs_steps_and_cautions(cast):
    answer = ask(cast, vine()).json()
    assert (answer["method"]["code"], answer["method"]["mark"]) == ("spur-plan", "common practice, no source")
    inputs = {given["name"]: (given["value"], given["unit"]) for given in answer["inputs"]}
    assert (inputs["target"], inputs["least_spacing"]) == ((6, "{node}"), (80, "mm"))
    assert sum(term["points"] for term in answer["terms"]) == answer["points"] == answer["steps"][-1]["value"]
    assert all(term["source"] and term["mark"] for term in answer["terms"])
    assert answer["cautions"][-len(CAUTIONS) :] == list(CAUTIONS)
    assert any("diameter of 4 canes was not measured" in caution for caution in answer["cautions"])


def test_the_optimum_of_every_total_from_zero_to_the_target_comes_along(cast):
    answer = ask(cast, vine(target=10)).json()
    assert answer["every_total"]["nodes"] == list(range(11))
    for total, points in zip(answer["every_total"]["nodes"], answer["every_total"]["points"], strict=True):
        assert ask(cast, vine(target=total)).json()["points"] == points


def test_a_target_that_the_vine_cannot_carry_gets_the_nearest_total_and_the_reason(cast):
    answer = ask(cast, vine(target=40)).json()
    assert (answer["status"], answer["target"], answer["total"]) == ("nearest", 40, 12)
    assert answer["reason"].startswith("The vine cannot carry 40 nodes")
    assert len(answer["every_total"]["points"]) == 41
    assert answer["every_total"]["points"][13:] == [None] * 28


def test_renewal_spurs_count_inside_the_total_unless_asked_otherwise(cast):
    (canes, arms, _), target = grown(random.Random(7), 20, 2, CANE_RULES)
    body = {**body_of(canes, arms, target), "form": "cane"}
    inside, outside = ask(cast, body).json(), ask(cast, {**body, "renewal_inside": False}).json()
    for answer in (inside, outside):
        renewing = sum(cane["nodes"] for cane in answer["canes"] if cane["becomes"] == "renewal_spur")
        assert renewing > 0
        assert answer["renewal_nodes_outside"] == (0 if answer["renewal_inside"] else renewing)
        assert sum(cane["nodes"] for cane in answer["canes"]) == answer["total"] + answer["renewal_nodes_outside"]


def test_limits_of_ones_own_are_kept_to_and_shown(cast):
    answer = ask(cast, vine(limits={"most_nodes": 1, "least_spacing": {"value": 4, "unit": "[in_i]"}})).json()
    assert (answer["total"], answer["status"]) == (4, "nearest")
    inputs = {given["name"]: given["value"] for given in answer["inputs"]}
    assert (inputs["most_nodes"], inputs["preferred_nodes"], inputs["least_spacing"]) == (1, 1, 102)


def test_inches_and_metres_of_one_vine_give_one_plan(cast):
    in_inches = vine()
    in_inches["arms"][0]["space"] = {"value": 20, "unit": "[in_i]"}
    in_metres = copy.deepcopy(in_inches)
    in_metres["arms"][0]["space"] = metres(0.508)
    for number, cane in enumerate(in_inches["canes"]):
        cane["position"] = {"value": 4.5 * number + 1.0625, "unit": "in"}
        in_metres["canes"][number]["position"] = {"value": f"{(4.5 * number + 1.0625) * 0.0254:.12f}", "unit": "m"}
    assert ask(cast, in_inches).json()["canes"] == ask(cast, in_metres).json()["canes"]


def test_the_density_of_nodes_is_shown_beside_what_was_printed_and_changes_nothing(cast):
    """4 to 6 buds a foot: Ohio State Univ., 2023 Grape Pruning Primer (READ)."""
    answer = ask(cast, vine(target=12)).json()
    assert answer["nodes_per_metre"] == {
        "value": pytest.approx(12 / 0.42), "unit": "{node}/m", "reason": None, "range": None, "verdict": None,
    }  # fmt: skip
    assert any("13.1 to 19.7 a metre" in caution for caution in answer["cautions"])
    assert answer["total"] == 12
    assert not any("a metre" in caution for caution in ask(cast, vine(target=6)).json()["cautions"])


@pytest.mark.parametrize(("query", "headers"), [("?as=svg", {}), ("", {"Accept": "image/svg+xml"})])
def test_the_same_plan_is_drawn_where_a_drawing_is_asked_for(query, headers, cast):
    answer = ask(cast, vine(), query, **headers)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "image/svg+xml"
    assert answer["X-Content-Type-Options"] == "nosniff"
    root = ET.fromstring(answer.content)
    labels = {text.text for text in root.iter("{http://www.w3.org/2000/svg}text")}
    assert {"1: 2/6", "2: 2/6", "3: 0/6", "4: 2/6"} <= labels


def test_markup_in_a_name_is_drawn_as_text(cast):
    body = vine()
    body["canes"][0]["name"] = "</text><script>alert(1)</script>"
    drawing = ask(cast, body, "?as=svg").content.decode()
    assert "<script" not in drawing
    ET.fromstring(drawing)


def test_a_fault_is_told_in_json_also_where_a_drawing_was_asked_for(cast):
    answer = ask(cast, vine(target=401), "?as=svg")
    assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")


def test_the_largest_vine_that_may_be_sent_is_answered(cast):
    for form, rules in (("spur", SPUR_RULES), ("cane", CANE_RULES)):
        (canes, arms, _), _ = grown(random.Random(9), 200, 8, rules)
        answer = ask(cast, {**body_of(canes, arms, 400), "form": form})
        assert answer.status_code == 200
        assert len(answer.json()["canes"]) == 200


def changed(path: str, value: Any) -> dict[str, Any]:
    """Give the vine with one member changed; ``...`` takes it away."""
    body = vine()
    *way, last = [int(step) if step.isdigit() else step for step in path.split("/")]
    place: Any = body
    for step in way:
        place = place[step] if not isinstance(place, dict) else place.setdefault(step, {})
    if value is ...:
        del place[last]
    else:
        place[last] = value
    return body


@pytest.mark.parametrize(
    ("path", "value"),
    [("canes/0/position", metres(10.5)), ("canes/0/position", metres(-0.01)), ("arms/0/space", metres(0)),
     ("arms/0/space", {"value": 120, "unit": "m"}), ("canes/1/diameter", {"value": 0, "unit": "mm"}),
     ("canes/1/diameter", {"value": 9, "unit": "cm"}), ("canes/1/diameter", {"value": "0.000000000001", "unit": "m"}),
     ("canes/2/from_cordon", metres(3)), ("canes/3/name", "1"), ("canes/3/arm", "right"),
     ("limits/fewest_nodes", 5), ("limits/least_spacing", {"value": 30, "unit": "cm"}),
     ("limits/thinnest_diameter", {"value": 9, "unit": "mm"}), ("limits/internode", metres(0)),
     ("canes/0/position", {"value": 1, "unit": "kg"})],
)  # fmt: skip
def test_what_breaks_a_rule_is_422_or_400_and_named(path, value, cast):
    answer = ask(cast, changed(path, value))
    assert answer.status_code in {422, 400}
    assert answer.json()["errors"][0]["pointer"].startswith(f"#/{path}")
    if "kg" not in str(value):
        assert answer.status_code == 422


@pytest.mark.parametrize(
    ("path", "value"),
    [("target", -1), ("target", 401), ("target", 2.5), ("target", "6"), ("target", None), ("target", ...),
     ("form", "head"), ("form", []), ("renewal_inside", "yes"), ("arms", []), ("arms", {}),
     ("arms", None), ("canes", None), ("canes/0", 5), ("canes/0/nodes", 201), ("canes/0/nodes", -1),
     ("canes/0/nodes", True), ("canes/0/angle", 90.5), ("canes/0/angle", "up"), ("canes/0/kind", "root"),
     ("canes/0/kind", {}), ("canes/0/name", ""), ("canes/0/name", 1), ("canes/0/name", "a\u202eb"),
     ("canes/0/name", "x" * 41), ("canes/0/position", 5), ("canes/0/position/value", None),
     ("canes/0/position/unit", "ell"), ("canes/0/lenght", 5), ("limits/most_nodes", 0), ("limits/most_nodes", 21),
     ("limits/spacing", 5), ("limits", None), ("limits", []), ("colour", "red")],
)  # fmt: skip
def test_what_the_schema_forbids_is_400_and_named(path, value, cast):
    answer = ask(cast, changed(path, value))
    assert answer.status_code == 400, answer.json()
    assert answer.json()["errors"][0]["pointer"].startswith(f"#/{path.split('/')[0]}")


def test_all_faults_of_a_vine_are_told_at_once(cast):
    body = changed("canes/0/position", metres(11))
    body["canes"][1]["arm"] = "up"
    body["canes"][2]["name"] = "4"
    pointers = [error["pointer"] for error in ask(cast, body).json()["errors"]]
    assert pointers == ["#/canes/0/position", "#/canes/3/name", "#/canes/1/arm"]


def test_more_canes_or_arms_than_a_vine_has_are_refused(cast):
    cane, arm = vine()["canes"][0], vine()["arms"][0]
    for members in (
        {"canes": [{**cane, "name": str(n)} for n in range(201)]},
        {"arms": [{**arm, "name": str(n)} for n in range(9)]},
    ):
        assert ask(cast, vine(**members)).status_code == 400


def test_spacing_is_asked_for_between_spurs_only(cast):
    answer = ask(cast, vine(form="cane", limits={"widest_spacing": metres(0.3)}))
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (422, "spurs_only")


@pytest.mark.parametrize("query", ["?as=png", "?as=svg&as=json", "?form=spur"])
def test_an_unknown_form_or_parameter_is_refused(query, cast):
    assert ask(cast, vine(), query).status_code == 400


@pytest.mark.parametrize("target", ["1e999", "1" + 30 * "0"])
def test_a_target_beyond_any_number_is_422_and_named(target, cast):
    answer = cast.nobody.post(ADDRESS, f'{{"target": {target}}}', content_type="application/json")
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "#/target")


@pytest.mark.parametrize("body", ["[]", "null", '"vine"', "{", '{"target": NaN}', ""])
def test_a_body_that_is_no_vine_is_refused(body, cast):
    answer = cast.nobody.post(ADDRESS, body, content_type="application/json")
    assert answer.status_code == 400
