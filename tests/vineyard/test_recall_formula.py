"""The command that recalls a formula: farm by farm how much was told by it, over the whole register."""

from __future__ import annotations

import io
import json
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction

from records.access import enter, open_farm
from records.models import Vine
from records.services.vineyards import create_block, create_row, plant_row
from vineyard.management.commands import recall_formula

SHARED = "american-30-10-lb@1"
OWN: dict[str, Any] = {"label": "80", "kind": "fixed", "first_nodes": 80, "source": "a trial (invented)"}


@pytest.fixture
def farms(transactional_db: None, cast: Any) -> Any:
    """Two farms that weighed two vines and one by a shared formula."""
    for player, farm, weighed in ((cast.owner, cast.farm, 2), (cast.stranger, cast.other_farm, 1)):
        with transaction.atomic():
            enter(player.caller)
            opened = open_farm(player.caller, farm.pk)
            block = create_block(opened, None, {"name": "Lower Terrace"}).row
            plant_row(opened, create_row(opened, block, None, 1).row, 4)
            vines = list(Vine.objects.for_farm(farm).order_by("place").values_list("pk", flat=True))
        name(player, farm, SHARED)
        for vine in vines[:weighed]:
            weigh(player, farm, vine)
    return cast


def name(player: Any, farm: Any, formula: str) -> None:
    sent = {"pruning_formula": formula}
    place = f"/api/v1/farms/{farm.pk}"
    assert player.client.patch(place, sent, format="json", headers={"If-Match": "*"}).status_code == 200


def weigh(player: Any, farm: Any, vine: Any, year: int = 2027) -> None:
    sent = {
        "vine": str(vine),
        "observed_at": f"{year}-01-16T10:02:00-05:00",
        "pruning_weight": {"value": 2, "unit": "lb"},
    }
    assert player.client.post(f"/api/v1/farms/{farm.pk}/dormant-records", sent, format="json").status_code == 201


def recall(*arguments: object) -> list[dict[str, Any]]:
    said = io.StringIO()
    call_command("recall_formula", *map(str, arguments), "--json", stdout=said)
    return [json.loads(line) for line in said.getvalue().splitlines()]


def test_each_farm_that_was_told_anything_stands_with_its_name_its_program_and_the_count(farms, monkeypatch):
    for at_once in (200, 1):
        monkeypatch.setattr(recall_formula, "FARMS_AT_ONCE", at_once)
        lines = recall(SHARED)
        assert [(line["name"], line["program"], line["targets"]) for line in lines] == [
            ("Quarry Bend Farm (invented)", None, 1),
            ("Tern Hill Vineyard (invented)", "Harrow Vale Growers (invented)", 2),
        ]
        assert {line["farm"] for line in lines} == {str(farms.farm.pk), str(farms.other_farm.pk)}
        assert all(line["formula"] == SHARED and line["last_told_at"] for line in lines)


def test_one_farm_may_be_asked_for_and_a_formula_that_nobody_used_tells_of_none(farms):
    assert [line["targets"] for line in recall(SHARED, "--farm", farms.farm.pk)] == [2]
    assert recall("concord-fixed-100@1") == []


def test_an_own_code_is_recalled_for_the_farm_that_is_named_and_a_programs_for_all_that_take_part(farms):
    for player, farm in ((farms.owner, farms.farm), (farms.stranger, farms.other_farm)):
        place = f"/api/v1/farms/{farm.pk}"
        sent = {**OWN, "code": "own-eighty"}
        assert player.client.post(f"{place}/formulas", sent, format="json").status_code == 201
        name(player, farm, "own-eighty")
        block = player.client.get(f"{place}/blocks").json()["results"][0]["id"]
        for vine in player.client.get(f"{place}/blocks/{block}/vines").json()["results"][2:]:
            weigh(player, farm, vine["id"])
    assert [(line["farm"], line["targets"]) for line in recall("own-eighty@1", "--farm", farms.farm.pk)] == [
        (str(farms.farm.pk), 2)
    ]
    program = f"/api/v1/programs/{farms.program.pk}/formulas"
    assert farms.lead.client.post(program, {**OWN, "code": "program-eighty"}, format="json").status_code == 201
    name(farms.owner, farms.farm, "program-eighty")
    block = farms.owner.client.get(f"/api/v1/farms/{farms.farm.pk}/blocks").json()["results"][0]["id"]
    vines = farms.owner.client.get(f"/api/v1/farms/{farms.farm.pk}/blocks/{block}/vines").json()["results"]
    weigh(farms.owner, farms.farm, vines[0]["id"], 2028)
    assert [(line["farm"], line["targets"]) for line in recall("program-eighty@1")] == [(str(farms.farm.pk), 1)]


def test_people_are_shown_a_table(farms, capsys):
    call_command("recall_formula", SHARED)
    said = capsys.readouterr().out
    assert "Tern Hill" in said and "targets" in said and "last told" in said


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("spelling", "said"),
    [("american-30-10-lb", "names no version"), ("american-30-10-lb@99", "There is no formula american-30-10-lb@99"),
     ("own-eighty@1", "Say which: --farm ID"), ("'; DROP TABLE vine@1", "names no version"), ("@1", "names no version")],
)  # fmt: skip
def test_what_is_no_version_is_refused_with_the_way_out(spelling, said, catalogue):
    with pytest.raises(CommandError, match=said):
        recall(spelling)
