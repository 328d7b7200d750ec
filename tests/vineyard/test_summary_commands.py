"""The commands that hold summaries to the records, and sum up anew."""

from __future__ import annotations

import io
import uuid
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction

from balance.summaries.keeping import settle
from balance.summaries.models import BlockSeason
from records.access import enter, open_farm
from tests.balance.summaries.seasons import WEIGHTS, Seasons
from tests.conftest import leave_farms

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def block(cast: Any) -> Seasons:
    with transaction.atomic():
        made = Seasons(cast, cultivar_id="concord")
    for season in (2026, 2027):
        made.winter(season, WEIGHTS, (50, 60, 45))
    made.harvest(2026, 300)
    made.look(2027, 1, 5, 3)
    return made


def say(command: str, *arguments: object) -> str:
    said = io.StringIO()
    call_command(command, *map(str, arguments), stdout=said)
    return said.getvalue()


def spoil(block: Seasons, **columns: Any) -> None:
    """Keep something that no record says."""
    with transaction.atomic():
        enter(block.cast.owner.caller)
        open_farm(block.cast.owner.caller, block.cast.farm.pk)
        settle([block.cast.farm.pk])  # nothing may wait: what waits is summed up anew before it is checked
        assert BlockSeason.objects.for_farm(block.cast.farm).filter(season=2027).update(**columns) == 1
        leave_farms()


def test_what_is_kept_as_the_records_say_passes_and_every_farm_is_named(block):
    said = say("check_summaries")
    for farm in (block.cast.farm, block.cast.other_farm):
        assert f"{farm.pk}  {farm.name}: everything is kept as its records say." in said
    assert "2 farms" in said


def test_what_is_kept_otherwise_is_printed_and_fails_until_it_is_summed_up_anew(block):
    spoil(block, weighed=99, weight_mean=1.0)
    said = io.StringIO()
    with pytest.raises(CommandError, match="2 figures are kept otherwise") as refused:
        call_command("check_summaries", stdout=said)
    assert refused.value.returncode == 1
    assert f"block {block.block.pk}, season 2027: weighed is 99, recounted {len(WEIGHTS)}" in said.getvalue()
    rebuilt = say("rebuild_summaries")
    assert f"{block.cast.farm.pk}  {block.cast.farm.name}: " in rebuilt
    assert "kept as the records say" in say("check_summaries")


def test_one_farm_alone_is_checked_and_rebuilt_where_it_is_named(block):
    spoil(block, counted=7)
    other = block.cast.other_farm
    assert "1 farm:" in say("check_summaries", "--farm", other.pk)
    assert str(block.cast.farm.pk) not in say("rebuild_summaries", "--farm", other.pk)
    with pytest.raises(CommandError):
        say("check_summaries", "--farm", block.cast.farm.pk)
    say("rebuild_summaries", "--farm", block.cast.farm.pk)
    assert "kept as the records say" in say("check_summaries", "--farm", block.cast.farm.pk)


@pytest.mark.parametrize("command", ["check_summaries", "rebuild_summaries"])
def test_a_farm_that_is_not_there_is_refused(db, command):
    with pytest.raises(CommandError, match="There is no farm"):
        say(command, "--farm", uuid.uuid4())


def test_no_more_than_some_differences_of_a_farm_are_printed(block, monkeypatch):
    monkeypatch.setattr("vineyard.management.commands.check_summaries.PRINTED", 1)
    spoil(block, weighed=99, counted=98, judged=97)
    said = io.StringIO()
    with pytest.raises(CommandError, match="3 figures"):
        call_command("check_summaries", stdout=said)
    assert said.getvalue().count("recounted") == 1
