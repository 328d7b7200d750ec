"""The first page: where a block stands and by what, what changed, what to do, and how sure that is."""

from __future__ import annotations

import re

import pytest

from tests.balance.reports.season_told import Told, document_of, figures_of, whole_year

EIGHT = [2.0, 2.2, 1.9, 2.1, 2.3, 2.0, 1.8, 2.2]


def test_by_crop_load_where_a_range_is_assigned(desk):
    for name, picked in (("Heavy", 600), ("Light", 150), ("Within", 370)):
        told = Told.concord(desk, name)
        told.weigh(2027, EIGHT)
        told.pick(2026, picked)
    document = document_of(desk)
    lines = {line["name"]: line for line in document["summary"]}
    assert [lines[name]["standing"] for name in ("Heavy", "Light", "Within")] == ["over", "under", "in_balance"]
    assert all(lines[name]["why"].startswith("By crop load:") for name in ("Heavy", "Light", "Within"))
    assert "harvest of 2026, the newest that can be told, above its range of 10 to 20" in lines["Heavy"]["why"]
    assert any("leaves fewer nodes" in each for each in lines["Heavy"]["next_winter"])
    assert not any("fewer nodes" in each for each in lines["Within"]["next_winter"])


@pytest.mark.parametrize(("count", "standing"), [(52, "over"), (30, "under"), (40, "in_balance"), (None, "not_known")])
def test_else_by_counts_against_targets_and_it_says_so(desk, count, standing):
    """2 lb by 30+10 is 40 nodes; without a step of the scale a count is on target within 1."""
    told = Told.concord(desk, "Tarn Field")
    told.weigh(2027, [2.0] * 4, **({} if count is None else {"nodes_retained": count}))
    line = told.line(document_of(desk))
    assert line["standing"] == standing
    if count is None:
        assert "no vine has both a target and a count" in line["why"]
    else:
        assert "so it goes by counts against targets: 4 counts" in line["why"]


def test_without_a_range_a_crop_load_decides_nothing(desk):
    told = Told(desk, "Own Seedling")
    told.weigh(2027, [2.0, 2.1, 2.2])
    told.pick(2026, 900)
    line = told.line(document_of(desk))
    assert (line["standing"], line["figures"][-1]["verdict"]) == ("not_known", "")
    assert line["why"].startswith("No range is assigned")


def test_a_change_of_weights_is_told_from_chance(desk):
    steady, grown = Told.concord(desk, "Steady"), Told.concord(desk, "Grown")
    for told, before in ((steady, EIGHT), (grown, [each - 0.8 for each in EIGHT])):
        told.weigh(2026, before)
        told.weigh(2027, EIGHT[::-1])
    document = document_of(desk)
    assert any("no more than chance" in each for each in steady.line(document)["changed"])
    assert any("up from" in each and "more than chance" in each for each in grown.line(document)["changed"])


def test_blank_cordon_and_new_cases_are_among_what_changed(desk):
    told = Told.concord(desk, "Tarn Field")
    whole_year(told)
    noticed = {"vine": told.vines[4], "scope": "cordon", "cordon": "left", "noticed_on": "2026-11-20"}
    assert desk.yard.client.post(f"{desk.yard.url}/cordon-cases", noticed, format="json").status_code == 201
    changed = told.line(document_of(desk))["changed"]
    assert "Blank cordon by spur positions up by 20.0 percentage points on 3 cordons." in changed
    assert "1 new case of cordon replacement noticed." in changed


def test_the_main_figures_are_those_of_the_page(desk):
    told = Told.concord(desk, "Tarn Field")
    whole_year(told)
    document = document_of(desk)
    page, line = told.page(document), told.line(document)
    known = [*figures_of(page, "prunings").values(), *figures_of(page, "crop_load").values()]
    assert [figure["code"] for figure in line["figures"]] == [
        "mean_pruning_weight", "mean_target", "mean_kept", "crop_load_of_the_season_before",
    ]  # fmt: skip
    assert all(figure in known for figure in line["figures"])


def test_confidence_falls_with_the_width_of_the_interval_and_with_what_lacks(desk):
    sure, few, none = (Told.concord(desk, name) for name in ("Sure", "Few", "None"))
    sure.weigh(2027, [*EIGHT, 2.0, 2.1])
    sure.pick(2026, 320)
    few.weigh(2027, [1.0, 2.4, 3.3])
    lines = [told.line(document_of(desk)) for told in (sure, few, none)]
    assert [line["confidence"] for line in lines] == ["good", "low", "low"]
    assert lines[0]["confidence_why"].startswith("10 of 12 vines weighed, mean good to ")
    assert "No vine was weighed" in lines[2]["confidence_why"]
    assert any(re.match(r"Weigh \d+ vines drawn at random: none was weighed", each) for each in lines[2]["next_winter"])


def test_weak_vines_and_counts_off_target_are_work_for_the_next_winter(desk):
    told = Told.concord(desk, "Tarn Field")
    told.weigh(2027, [0.5, 0.8])
    told.vines = told.vines[2:]
    told.weigh(2027, [2.0, 2.0, 2.0], nodes_retained=60)
    said = " ".join(told.line(document_of(desk))["next_winter"])
    assert "the cause at 2 weak vines" in said
    assert "3 of 3 counts off target (3 more, 0 fewer)" in said
