"""The drawing of a vine: well formed, whole, escaped, and readable without colour."""

from __future__ import annotations

import random
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balance.drawings.layout import PITCH, layout_of
from balance.drawings.vine import vine_svg
from balance.formulas.spur_plan.candidates import Arm, Candidate
from balance.formulas.spur_plan.plan import spur_plan
from balance.formulas.spur_plan.reasons import RENEWAL_SPUR
from balance.formulas.spur_plan.rules import CANE_RULES, SPUR_RULES
from tests.balance.formulas.spur_vines import grown, vines

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = '"/><script>alert(1)</script><!-- & \u0007 \ud800 ]]>'


def drawn(canes: Any, arms: Any, target: int, rules: Any) -> tuple[Any, ET.Element]:
    plan = spur_plan(canes, arms, target, rules)
    return plan, ET.fromstring(vine_svg(plan, canes, arms))


def sticks(root: ET.Element) -> dict[str, ET.Element]:
    """Give the group of every cane, by the title that it carries."""
    found = {}
    for group in root.iter(f"{SVG}g"):
        title = group.find(f"{SVG}title")
        if title is not None and title.text:
            found[title.text.split(": ")[0]] = group
    return found


@settings(deadline=None, max_examples=50)
@given(vine=vines(most=9), target=st.integers(0, 30))
def test_every_cane_is_in_it_with_its_reason_and_a_mark_for_every_node_kept(vine, target):
    canes, arms, rules = vine
    plan, root = drawn(canes, arms, target, rules)
    groups = sticks(root)
    assert set(groups) == {cane.name for cane in canes}
    for choice in plan.choices:
        group = groups[choice.name]
        assert group.findtext(f"{SVG}title") == f"{choice.name}: {choice.sentence}"
        assert group.findtext(f"{SVG}text") == f"{choice.name}: {choice.nodes}/{choice.living}"
        dots = len(group.findall(f"{SVG}circle"))
        diamonds = sum("z" in path.get("d", "") for path in group.findall(f"{SVG}path"))
        assert (dots, diamonds) == ((0, choice.nodes) if choice.role == RENEWAL_SPUR else (choice.nodes, 0))


def test_what_is_cut_is_dashed_and_what_is_kept_is_not():
    (canes, arms, rules), target = grown(random.Random(1), 30, 2, SPUR_RULES)
    plan, root = drawn(canes, arms, target, rules)
    groups = sticks(root)
    for choice in plan.choices:
        lines = groups[choice.name].findall(f"{SVG}line")
        dashed = [line for line in lines if line.get("stroke-dasharray")]
        assert bool(dashed) == (choice.nodes < choice.living)
        assert bool([line for line in lines if line not in dashed]) == bool(choice.nodes)


def test_it_has_a_title_a_description_a_role_and_a_scale():
    (canes, arms, rules), target = grown(random.Random(2), 20, 2, SPUR_RULES)
    plan, root = drawn(canes, arms, target, rules)
    assert root.get("role") == "img"
    named = {element.get("id"): element.text for element in root if element.get("id")}
    assert set((root.get("aria-labelledby") or "").split()) == set(named)
    assert named["title"] == f"Spur plan: {plan.total} nodes"
    said = [text.text or "" for text in root.iter(f"{SVG}text")]
    assert any(re.fullmatch(r"\d+ cm along the cordon", text) for text in said)
    assert all(arm.name in said for arm in arms)


def test_a_total_that_is_not_the_target_is_in_the_heading():
    _, root = drawn([Candidate("1", "only", 0.2, 6)], [Arm("only", 0.5)], 12, SPUR_RULES)
    assert root.findtext(f"{SVG}title") == "Spur plan: 3 of 12 nodes asked for"


@pytest.mark.parametrize("canes", [4, 20, 60, 200])
@pytest.mark.parametrize("arms", [1, 2, 3])
def test_labels_stand_apart_and_everything_stands_on_the_paper(canes, arms):
    (vine, sides, rules), target = grown(random.Random(canes), canes, arms, SPUR_RULES)
    vine = [replace(cane, position_m=0.3 + cane.position_m / 20) for cane in vine]  # all of them crowded
    plan, root = drawn(vine, sides, target, rules)
    layout = layout_of(plan, vine, sides)
    for arm in layout.arms:
        for hangs in (False, True):
            places = sorted(stick.at for stick in arm.sticks if stick.hangs == hangs)
            assert all(after - before >= PITCH - 1e-6 for before, after in pairwise(places))
    width, height = (float(root.get(side) or 0) for side in ("width", "height"))
    for text in root.iter(f"{SVG}text"):
        length = 6.2 * len(text.text or "") * float(text.get("font-size") or 10) / 10
        x, y = float(text.get("x") or 0), float(text.get("y") or 0)
        across, up = (0.0, length) if text.get("transform") else (length, 0.0)
        back = text.get("text-anchor") == "end"
        assert 0 <= (x - across if back else x) <= (x if back else x + across) <= width
        assert 0 <= (y if back else y - up) <= (y + up if back else y) <= height


def test_a_cane_far_beyond_the_halfway_line_does_not_stretch_the_paper():
    near, far = (
        drawn([Candidate("1", "only", at, 6)], [Arm("only", 0.5)], 0, SPUR_RULES)[1].get("width") for at in (0.6, 10.0)
    )
    assert near == far


@settings(deadline=None, max_examples=50)
@given(name=st.text(min_size=1, max_size=40))
def test_no_name_breaks_out_of_the_text(name):
    canes = [Candidate(name, name, 0.2, 6), Candidate(f"{name}2", name, 0.3, 6, angle_deg=-20)]
    _, root = drawn(canes, [Arm(name, 0.5)], 2, SPUR_RULES)
    assert {element.tag.removeprefix(SVG) for element in root.iter()} <= {
        "svg", "title", "desc", "rect", "text", "line", "g", "path", "circle",
    }  # fmt: skip


def test_markup_in_a_name_is_shown_as_text():
    canes = [Candidate(HOSTILE, HOSTILE, 0.2, 6)]
    svg = vine_svg(spur_plan(canes, [Arm(HOSTILE, 0.5)], 2, SPUR_RULES), canes, [Arm(HOSTILE, 0.5)])
    assert "<script" not in svg
    ET.fromstring(svg.encode())
    assert "\u0007" not in svg


def test_long_names_are_shortened_where_they_do_not_differ():
    canes = [Candidate(f"a cane of the lower terrace {number}", "only", 0.1 * number, 6) for number in (1, 2, 3)]
    _, root = drawn(canes, [Arm("only", 0.5)], 0, SPUR_RULES)
    assert {group.findtext(f"{SVG}text") for group in sticks(root).values()} == {
        "a cane…rrace 1: 0/6", "a cane…rrace 2: 0/6", "a cane…rrace 3: 0/6",
    }  # fmt: skip


def test_it_needs_nothing_from_elsewhere():
    (canes, arms, rules), target = grown(random.Random(3), 20, 4, CANE_RULES)
    svg = vine_svg(spur_plan(canes, arms, target, rules), canes, arms)
    assert set(re.findall(r'https?://[^"]*', svg)) == {"http://www.w3.org/2000/svg"}
    assert not re.search(r"<(script|image|use|style|foreignObject|a)\b|href|url\(|on\w+=", svg)


def test_the_same_plan_is_drawn_alike():
    (canes, arms, rules), target = grown(random.Random(4), 20, 2, SPUR_RULES)
    plan = spur_plan(canes, arms, target, rules)
    assert vine_svg(plan, canes, arms) == vine_svg(plan, canes, arms)
