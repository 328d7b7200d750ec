"""What is kept of a block and season equals a recount from its records, whatever was done to them, in which order."""

from __future__ import annotations

import random
import uuid
from typing import Any

import pytest
from django.db import connection, transaction

from balance.summaries.checking import differences_of
from balance.summaries.keeping import rebuild, settle
from balance.summaries.models import BlockSeason, BlockSeasonMark
from balance.summaries.rows import rows_of
from records.access import enter, open_farm
from records.kinds import KINDS
from records.models import DormantRecord, PruningFormula
from records.services.vineyards import block_of
from tests.records.yard import Yard

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def yard(cast) -> Yard:
    with transaction.atomic():
        return Yard(cast)


def wrong(yard: Yard, cast: Any) -> list[str]:
    """Give what is kept otherwise than a recount says, once a reader has settled what writers left."""
    with transaction.atomic():
        enter(cast.owner.caller)
        opened = open_farm(cast.owner.caller, cast.farm.pk)
        settle([cast.farm.pk])
        assert not BlockSeasonMark.objects.for_farm(cast.farm).exists()
        return [str(each) for each in differences_of(opened, block_of(opened, yard.block.pk))]


def row(yard: Yard, cast: Any, season: int = 2027, *, settled: bool = True) -> Any:
    """Give what is kept of a season, as a reader finds it; or as the writer left it."""
    with transaction.atomic():
        enter(cast.owner.caller)
        open_farm(cast.owner.caller, cast.farm.pk)
        if settled:
            settle([cast.farm.pk])
        found = rows_of([cast.farm.pk], season, season, [yard.block.pk])
        return found[0] if found else None


def weighing(yard: Yard, vine: int, pounds: float, kept: int | None = None, day: str = "2027-01-16") -> dict[str, Any]:
    more = {} if kept is None else {"nodes_retained": kept}
    return {
        "id": str(uuid.uuid4()),
        "vine": str(yard.vines[vine].pk),
        "observed_at": f"{day}T10:00:00-05:00",
        "pruning_weight": {"value": pounds, "unit": "[lb_av]"},
        **more,
    }


def test_a_weighing_is_summed_up_in_the_transaction_that_stores_it(yard, cast):
    assert yard.post(KINDS["dormant_record"], weighing(yard, 0, 2.8, 48)).status_code == 201
    kept = row(yard, cast, settled=False)
    assert (kept.weighed, kept.places, kept.counted) == (1, 12, 1)
    assert kept.weight_mean == pytest.approx(2.8 * 0.45359237, rel=1e-12)
    assert wrong(yard, cast) == []


def test_who_writes_a_moment_after_another_leaves_it_to_the_reader(yard, cast):
    for vine in range(3):
        assert yard.post(KINDS["dormant_record"], weighing(yard, vine, 2.8)).status_code == 201
    assert row(yard, cast, settled=False).weighed in {1, 2}
    assert row(yard, cast).weighed == 3


def test_a_correction_and_a_withdrawal_are_followed(yard, cast):
    kind = KINDS["dormant_record"]
    made = yard.post(kind, weighing(yard, 0, 2.8)).json()
    yard.post(kind, weighing(yard, 1, 3.0))
    changed = yard.client.patch(
        yard.at(kind, made), {"pruning_weight": {"value": 1.8, "unit": "[lb_av]"}, "reason": "Read again."},
        format="json", headers={"If-Match": '"1"'},
    )  # fmt: skip
    assert changed.status_code == 200, changed.content
    assert row(yard, cast).weight_least == pytest.approx(1.8 * 0.45359237)
    gone = yard.client.delete(f"{yard.at(kind, made)}?reason=Twice", headers={"If-Match": '"2"'})
    assert gone.status_code in {200, 204}, gone.content
    assert row(yard, cast).weighed == 1
    assert wrong(yard, cast) == []


def test_a_record_that_moves_to_another_season_leaves_the_former_one(yard, cast):
    kind = KINDS["dormant_record"]
    made = yard.post(kind, weighing(yard, 0, 2.8)).json()
    with transaction.atomic():
        enter(cast.owner.caller)
        open_farm(cast.owner.caller, cast.farm.pk)
        DormantRecord.objects.for_farm(cast.farm).filter(pk=made["id"]).update(season=2026)
    assert (row(yard, cast, 2026).weighed, row(yard, cast, 2027).weighed) == (1, 0)
    assert wrong(yard, cast) == []


def test_the_prunings_of_the_next_winter_complete_the_crop_load_of_a_vine(yard, cast):
    harvest = yard.new(KINDS["harvest_record"], scope="vine", vine=str(yard.vines[0].pk), block=..., vines_picked=...)
    harvest["observed_at"] = "2026-09-20T10:00:00-04:00"
    answer = yard.post(KINDS["harvest_record"], harvest)
    assert answer.status_code == 201, answer.content
    assert row(yard, cast, 2026).pairs == 0
    yard.post(KINDS["dormant_record"], weighing(yard, 0, 2.8))
    assert row(yard, cast, 2026).pairs == 1
    assert wrong(yard, cast) == []


def test_a_formula_that_a_block_chooses_is_followed_by_the_next_reader(yard, cast):
    yard.post(KINDS["dormant_record"], weighing(yard, 0, 2.8, 48))
    assert row(yard, cast).targets == 0
    formula = PruningFormula.objects.filter(kind="first_and_further", lowest_units=None).order_by("code")[0]
    changed = cast.owner.client.patch(
        f"{yard.url}/blocks/{yard.block.pk}", {"pruning_formula": formula.code}, format="json",
        headers={"If-Match": '"1"'},
    )  # fmt: skip
    assert changed.status_code == 200, changed.content
    assert wrong(yard, cast) == []
    assert row(yard, cast).targets == 1


def test_every_kind_of_record_is_followed(yard, cast):
    for kind in KINDS.values():
        answer = yard.post(kind, yard.new(kind))
        assert answer.status_code == 201, (kind.name, answer.content)
    assert wrong(yard, cast) == []


def test_what_is_built_anew_is_what_was_kept(yard, cast):
    for kind in KINDS.values():
        yard.post(kind, yard.new(kind))
    with transaction.atomic():
        enter(cast.owner.caller)
        open_farm(cast.owner.caller, cast.farm.pk)
        settle([cast.farm.pk])
        BlockSeason.objects.for_farm(cast.farm).update(weighed=99, weight_mean=None)
    assert wrong(yard, cast) != []
    with transaction.atomic():
        enter(cast.owner.caller)
        open_farm(cast.owner.caller, cast.farm.pk)
        assert rebuild(cast.farm.pk) > 0
    assert wrong(yard, cast) == []


def test_of_two_events_of_a_vine_the_later_one_counts_by_the_days_of_the_farm(yard, cast):
    """Missing since the 10th, as was written down on the evening after; replanted on the morning of the 11th.

    In Auckland, that is: UTC has the 10th on that morning still.
    """

    def move_to(zone: str) -> None:
        told = {"format": "json", "headers": {"If-Match": "*"}}
        assert cast.owner.client.patch(yard.url, {"time_zone": zone}, **told).status_code == 200

    move_to("Pacific/Auckland")
    for more in (
        {"event": "missing", "happened_on": "2026-07-10", "observed_at": "2026-07-11T18:00:00+12:00"},
        {"event": "replanted", "observed_at": "2026-07-11T09:00:00+12:00"},
    ):
        sent = {"id": str(uuid.uuid4()), "vine": str(yard.vines[0].pk), **more}
        assert yard.post(KINDS["vine_event"], sent).status_code == 201
    yard.post(KINDS["dormant_record"], weighing(yard, 1, 2.8))
    assert (row(yard, cast).missing, wrong(yard, cast)) == (0, [])
    move_to("Etc/UTC")
    assert (row(yard, cast).missing, wrong(yard, cast)) == (1, [])


def test_weights_of_a_whole_block_are_summed_up_with_what_is_doubtful(yard, cast):
    pounds = [1.0, 1.2, 0.9, 1.1, 1.3, 1.0, 0.8, 1.2, 1.1, 0.9, 9.0, 0.0]
    for vine, weight in enumerate(pounds):
        yard.post(KINDS["dormant_record"], weighing(yard, vine, weight))
    kept = row(yard, cast)
    assert (kept.weighed, kept.zero_weights, kept.far_out_weights) == (12, 1, 1)
    assert sum(kept.weight_bins) == 12
    assert wrong(yard, cast) == []


@pytest.mark.parametrize("seed", range(4))
def test_any_order_of_writes_ends_in_what_the_records_say(yard, cast, seed):
    dice = random.Random(seed)
    made: list[tuple[Any, dict[str, Any]]] = []
    for _ in range(60):
        kind = dice.choice(list(KINDS.values()))
        if made and dice.random() < 0.25:
            kind, record = made.pop(dice.randrange(len(made)))
            yard.client.delete(f"{yard.at(kind, record)}?reason=Mistake", headers={"If-Match": '"1"'})
            continue
        more: dict[str, Any] = {}
        if kind.name == "dormant_record":
            more = weighing(yard, dice.randrange(12), round(dice.uniform(0, 6), 2), dice.choice([None, 30, 45, 60]))
            more["observed_at"] = f"{dice.choice([2026, 2027, 2028])}-01-16T10:00:00-05:00"
        sent = yard.new(kind, **more)
        if "vine" in sent and kind.name != "dormant_record":
            sent["vine"] = str(dice.choice(yard.vines).pk)
        answer = yard.post(kind, sent)
        if answer.status_code == 201:
            made.append((kind, answer.json()))
    assert len(made) > 10
    assert wrong(yard, cast) == []


def test_another_farm_sees_none_of_it(yard, cast):
    yard.post(KINDS["dormant_record"], weighing(yard, 0, 2.8))
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SELECT set_config('app.farms', %s, true)", [str(cast.other_farm.pk)])
        cursor.execute("SELECT count(*) FROM block_season")
        assert cursor.fetchone() == (0,)
