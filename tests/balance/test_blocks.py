"""A whole block at once, also in the minute after a large import, when the database has no statistics yet."""

from __future__ import annotations

import pytest
from django.db import connection

from balance.blocks import targets_of_block
from records.access import enter, open_farm
from records.services.vineyards import create_block, create_row, plant_row

pytestmark = pytest.mark.django_db


def test_a_block_that_was_just_filled_answers_as_one_that_has_been_there_for_long(cast):
    """Without statistics a join vine by vine would take minutes here, and the statement's time limit would end it."""
    enter(cast.owner.caller)
    opened = open_farm(cast.owner.caller, cast.farm.pk)
    block = create_block(opened, None, {"name": "Large"}).row
    for number in (1, 2, 3):
        plant_row(opened, create_row(opened, block, None, number).row, 2000)
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO dormant_record (farm_id, block_id, vine_id, season, pruning_weight_value, pruning_weight_unit,"
            " pruning_weight_kg, scale, pruner, note, app_name, device, source, created_digest)"
            " SELECT farm_id, block_id, id, 2027, 1, 'kg', 1, 'spring', '', '', '', '', 'import', '' FROM vine"
        )
    assert len(targets_of_block(opened, block, 2027).walked) == 6000


@pytest.fixture
def three_vines(cast):
    """The address of a block of three vines."""
    enter(cast.owner.caller)
    opened = open_farm(cast.owner.caller, cast.farm.pk)
    block = create_block(opened, None, {"name": "Large"}).row
    plant_row(opened, create_row(opened, block, None, 1).row, 3)
    return f"/api/v1/farms/{cast.farm.pk}/blocks/{block.pk}"


def test_a_block_with_more_vines_than_are_answered_at_once_says_so(three_vines, cast, monkeypatch):
    monkeypatch.setattr("balance.walking.MOST_VINES", 2)
    answer = cast.owner.client.get(f"{three_vines}/targets")
    assert (answer.status_code, "Ask by row" in answer.json()["detail"]) == (422, True)


@pytest.mark.parametrize("figures", ["statistics", "vine-size", "mean-target", "competing-targets", "bud-injury"])
def test_figures_of_a_whole_block_are_not_refused_for_rows_that_nobody_can_ask_them_by(
    figures, three_vines, cast, monkeypatch
):
    monkeypatch.setattr("balance.walking.MOST_VINES", 2)
    answer = cast.owner.client.get(f"{three_vines}/{figures}?season=2027")
    assert (answer.status_code, "by row" in answer.content.decode()) == (200, False)


def test_a_block_too_large_for_figures_of_all_of_it_is_to_be_divided(three_vines, cast, monkeypatch):
    monkeypatch.setattr("balance.walking.MOST_OF_A_BLOCK", 2)
    answer = cast.owner.client.get(f"{three_vines}/statistics?season=2027")
    assert (answer.status_code, answer.json()["errors"][0]["parameter"]) == (422, "block")
    assert "Divide the block" in answer.json()["detail"]


@pytest.fixture
def kept(cast):
    """A block whose vines this process has read before."""
    enter(cast.owner.caller)
    opened = open_farm(cast.owner.caller, cast.farm.pk)
    cast.block = create_block(opened, None, {"name": "Kept"}).row
    cast.row = create_row(opened, cast.block, None, 1).row
    plant_row(opened, cast.row, 2)
    cast.url = f"/api/v1/farms/{cast.farm.pk}/blocks/{cast.block.pk}"
    assert len(shown(cast)) == 2
    return cast


def shown(cast):
    return cast.viewer.client.get(f"{cast.url}/targets").json()["results"]


def test_a_vine_that_is_added_is_in_the_next_answer(kept):
    kept.owner.client.post(f"{kept.url}/vines", {"row_number": 1, "place": 3}, format="json")
    assert [vine["place"] for vine in shown(kept)] == [1, 2, 3]


def test_a_label_or_a_formula_that_is_changed_is_in_the_next_answer(kept, cast):
    vine = shown(kept)[0]["vine"]
    body = {"label": "end post", "pruning_formula": "american-30-10-lb"}
    changed = kept.owner.client.patch(
        f"/api/v1/farms/{kept.farm.pk}/vines/{vine}", body, format="json", headers={"If-Match": "*"}
    )
    assert changed.status_code == 200
    assert (shown(kept)[0]["label"], shown(kept)[0]["formula"]) == ("end post", 1)


def test_two_farms_never_share_what_is_kept(kept, cast):
    assert cast.stranger.client.get(f"{kept.url}/targets").status_code == 404
