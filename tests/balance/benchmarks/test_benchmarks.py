"""Benchmarks over HTTP: what is told to whom, who is protected, and what ends when a consent ends.

The village stands for the whole file, because twelve farms take seconds to write down: each test begins without a
snapshot, and with every consent in force.
"""

from __future__ import annotations

import math
import statistics
import uuid
from datetime import timedelta

import pytest
from django.db import connection, transaction
from django.utils import timezone

from balance.benchmarks import making
from balance.benchmarks.deciding import decide
from balance.benchmarks.models import BenchmarkCell, BenchmarkPart, BenchmarkSnapshot
from balance.program_work.leases import take_up
from balance.reports.programs.contributions import sums_of_farms
from records.context import set_context
from records.models import Consent, ProgramMembership
from tests.balance.benchmarks.commons import SEASON, Commons, among, cell, kept
from tests.balance.reports.village import CANARY, SHARED_REGION


@pytest.fixture(scope="module")
def founded(django_db_setup, django_db_blocker):
    """Write the village down once, and leave the tables empty behind it."""
    from django.core.management import call_command

    from tests.conftest import have_catalogues, make_cast

    with django_db_blocker.unblock():
        have_catalogues()
        yield Commons(make_cast())
        call_command("flush", verbosity=0, interactive=False, reset_sequences=False, inhibit_post_migrate=True)


@pytest.fixture
def commons(founded, django_db_blocker):
    with django_db_blocker.unblock():
        founded.begins_anew()
        ProgramMembership.objects.get_or_create(program=founded.program, person=founded.lead.person)
        yield founded


@pytest.fixture
def told(commons):
    made = commons.made()
    assert made["state"] == "succeeded", made
    return made


def three_digits(value):
    return float(f"{value:.3g}")


def means_of(growers):
    return [statistics.fmean(grower.weights) for grower in growers]


# ------------------------------------------------------------------------------------------------ what it says


def test_mean_and_spread_are_what_a_hand_reckons_from_the_weights(commons, told):
    means = means_of(commons.growers)  # each weighed four vines, so each counts alike
    found = cell(told)
    assert (found["told"], found["growers"], found["unit"]) == (True, "10-19", "kg")
    assert found["mean"] == three_digits(statistics.fmean(means))
    assert found["spread"] == three_digits(statistics.pstdev(means))


def test_the_six_growers_of_one_region_are_told_and_a_region_of_one_has_no_cell(commons, told):
    shared = cell(told, dimension="region", label=SHARED_REGION)
    assert shared["mean"] == three_digits(statistics.fmean(means_of(commons.growers[:6])))
    assert {c["label"] for c in told["cells"] if c["dimension"] == "region"} == {SHARED_REGION}
    assert CANARY not in str(told)


def test_crop_load_is_yield_over_prunings_and_growers_within_a_twentieth_of_each_other_have_no_spread(commons, told):
    loads = [(grower.yield_kg, sum(grower.weights)) for grower in commons.growers]
    mean = sum(crop for crop, _ in loads) / sum(wood for _, wood in loads)
    spread = math.sqrt(sum((c / w - mean) ** 2 * w for c, w in loads) / sum(w for _, w in loads))
    assert spread < mean / 20
    found = cell(told, "crop_load")
    assert (found["mean"], found["spread"]) == (three_digits(mean), None)


def test_a_spread_of_growers_who_are_all_alike_is_withheld_and_its_mean_is_told(commons, told):
    found = cell(told, "kept")  # everybody left thirty nodes
    assert (found["mean"], found["spread"]) == (30, None)
    assert found["spread_reason"].startswith("Withheld because the growers are so nearly alike")


def test_there_is_no_smallest_no_largest_no_median_and_no_list(told):
    assert set(told["cells"][0]) == {
        "measure", "dimension", "label", "unit", "told", "mean", "spread", "growers", "reason_code", "reason",
        "spread_reason",
    }  # fmt: skip


def test_the_reasons_are_for_the_leads(commons, told):
    niagara = commons.growers[8:]  # four growers: too few to have a cell; with Concord told they would show
    concord = cell(told, dimension="cultivar", label="Concord")
    assert concord["told"] is False
    assert concord["reason_code"] == "protects_others"
    seen = among(commons.seen_by(niagara[0]), "cultivar")
    other = among(commons.seen_by(commons.growers[0]), "cultivar")
    for shown in (seen, other):  # one is withheld, the other is nowhere: nobody can tell which
        assert "reason_code" not in shown
        assert (shown["mean"]["value"], shown["growers"], shown["band"]) == (None, "", None)
    assert {**seen, "own": None} == {**other, "own": None}


# -------------------------------------------------------------------------------------------- where a block lies


def test_a_block_sees_in_which_band_it_lies_and_no_rank(commons, told):
    means = means_of(commons.growers)
    middle, spread = three_digits(statistics.fmean(means)), three_digits(statistics.pstdev(means))
    for grower, own in zip(commons.growers, means, strict=True):
        answer = commons.seen_by(grower)
        assert answer.status_code == 200, answer.json()
        shown = among(answer)
        assert shown["own"]["value"] == pytest.approx(own)
        score = (own - middle) / spread
        side = "above" if score > 0 else "below"
        expected = "about" if abs(score) <= 0.5 else side if abs(score) <= 1.5 else f"well_{side}"
        assert shown["band"] == expected
        assert "rank" not in str(answer.json()).replace("Never a rank", "")
    assert {among(commons.seen_by(g))["band"] for g in commons.growers} >= {"well_below", "about", "well_above"}


def test_without_a_season_the_newest_that_has_a_snapshot_answers(commons, told):
    grower = commons.growers[0]
    answer = grower.client.get(f"{grower.url}/blocks/{grower.block.pk}/benchmark")
    assert answer.json()["season"] == SEASON
    assert commons.summary().json()["season"] == SEASON


def test_a_farm_that_does_not_take_part_sees_nothing(commons, told):
    cast = commons.cast
    from records.access import enter, open_farm
    from records.services.vineyards import create_block

    with transaction.atomic():
        enter(cast.owner.caller)
        block = create_block(open_farm(cast.owner.caller, cast.farm.pk), None, {"name": f"{uuid.uuid4()}"}).row
    answer = cast.owner.client.get(f"/api/v1/farms/{cast.farm.pk}/blocks/{block.pk}/benchmark?season={SEASON}")
    assert (answer.status_code, answer.json()["programs"]) == (200, [])
    assert "takes part in no program's benchmarks" in answer.json()["reason"]


def test_a_farm_that_took_its_consent_back_sees_nothing_from_the_next_request_on(commons, told):
    gone = commons.growers[0]
    assert commons.seen_by(gone).json()["programs"]
    gone.withdraws()
    assert commons.seen_by(gone).json()["programs"] == []


def test_an_adviser_sees_it_of_a_farm_they_advise_and_stands_in_its_access_log(commons, told):
    from records.access import enter, open_farm
    from records.services.consents import Adviser, Asked, give_consent

    grower, adviser = commons.growers[2], commons.cast.adviser
    with transaction.atomic():
        enter(grower.caller)
        whom = Adviser(adviser.person.email, "Mira")
        asked = Asked(purpose="advice", text_version="advice@1", adviser=whom, rights=("read",))
        given = give_consent(open_farm(grower.caller, grower.farm.pk), None, asked).row
    assert commons.seen_by(grower, adviser.client).status_code == 200
    log = grower.client.get(f"{grower.url}/access-log?consent={given.pk}").json()["results"]
    assert [visit["path"] for visit in log] == [f"{grower.url}/blocks/{grower.block.pk}/benchmark"]
    assert commons.seen_by(commons.growers[3], adviser.client).status_code == 404


def test_an_answer_that_is_known_is_304_and_ends_with_the_consent(commons, told):
    grower = commons.growers[0]
    address = f"{grower.url}/blocks/{grower.block.pk}/benchmark?season={SEASON}"
    tag = grower.client.get(address)["ETag"]
    assert grower.client.get(address, headers={"If-None-Match": tag}).status_code == 304
    commons.growers[5].withdraws()
    assert grower.client.get(address, headers={"If-None-Match": tag}).status_code == 200


# ---------------------------------------------------------------------------------------- the season at a glance


def test_the_season_at_a_glance_is_that_of_the_snapshot(commons, told):
    answer = commons.summary(season=SEASON)
    assert answer.status_code == 200, answer.json()
    said = answer.json()
    first = said["measures"][0]
    assert (first["mean"]["value"], first["spread"]["value"]) == (cell(told)["mean"], cell(told)["spread"])
    assert (said["benchmark"], said["growers"], said["dimension"]) == (told["id"], "10-19", "all")
    assert [each["season"] for each in said["trend"]] == [SEASON]
    assert commons.lead.client.get(
        f"/api/v1/programs/{commons.program.pk}/season-summary?season={SEASON}",
        headers={"If-None-Match": answer["ETag"]},
    ).status_code == 304  # fmt: skip


@pytest.mark.parametrize(
    ("query", "dimension", "is_told"),
    [
        ({"region": SHARED_REGION.upper()}, "region", True),
        ({"training": "bilateral_cordon"}, "training", True),
        ({"shelter": "open_field"}, "shelter", True),
        ({"cultivar": "concord"}, "cultivar", False),
    ],
)
def test_it_is_asked_for_by_one_thing_at_a_time(commons, told, query, dimension, is_told):
    said = commons.summary(season=SEASON, **query).json()
    assert (said["dimension"], said["measures"][0]["mean"]["value"] is not None) == (dimension, is_told)


def test_what_is_withheld_and_what_there_is_not_are_the_same_but_for_its_name(commons, told):
    answers = [commons.summary(season=SEASON, cultivar=each).json() for each in ("concord", "niagara", "no-such")]
    assert len({str({**each, "label": ""}) for each in answers}) == 1


def test_two_filters_at_once_are_refused(commons, told):
    refused = commons.summary(season=SEASON, shelter="open_field", training="bilateral_cordon")
    assert (refused.status_code, refused.json()["errors"][0]["code"]) == (422, "one_filter")


def test_a_season_without_a_snapshot_says_nothing(commons):
    said = commons.summary(season=2031).json()
    assert (said["benchmark"], said["trend"], said["growers"]) == (None, [], "")
    assert {each["mean"]["value"] for each in said["measures"]} == {None}
    assert commons.summary().json()["season"] is None


# ------------------------------------------------------------------------------------------------- consent ends


def test_withdrawing_takes_every_figure_of_the_farm_from_the_next_request_on(commons, told):
    commons.growers[0].withdraws()  # of the shared region
    again = commons.told(told["id"])
    assert not any(c["told"] for c in again["cells"] if c["dimension"] in {"all", "region", "training", "shelter"})
    assert {c["reason_code"] for c in again["cells"] if c["dimension"] == "all"} == {"consent_ended"}
    said = commons.summary(season=SEASON).json()
    assert {each["mean"]["value"] for each in said["measures"]} == {None}
    assert {each["mean"]["value"] for each in said["trend"][0]["measures"]} == {None}
    assert among(commons.seen_by(commons.growers[1]))["mean"]["value"] is None


def test_figures_in_which_the_farm_does_not_stand_are_shown_as_before(commons, told):
    commons.growers[11].withdraws()  # of a region of its own
    again = commons.told(told["id"])
    assert cell(again, dimension="region", label=SHARED_REGION) == cell(told, dimension="region", label=SHARED_REGION)
    assert cell(again)["told"] is False


def test_a_consent_that_ends_by_its_own_date_ends_what_is_shown(commons):
    grower = commons.growers[0]
    grower.withdraws()
    grower.consents(commons.program, "benchmarks", valid_until=timezone.now() + timedelta(hours=1))
    made = commons.made()
    assert cell(made)["told"]
    with connection.cursor() as cursor:  # as if the hour had passed
        cursor.execute("SELECT count(*) FROM benchmark_cell WHERE holds_until IS NOT NULL AND mean IS NOT NULL")
        assert cursor.fetchone()[0] > 0
    with transaction.atomic():
        set_context(farms=[grower.farm.pk])
        soon = timezone.now() + timedelta(milliseconds=1)
        Consent.objects.for_farm(grower.farm).filter(pk=grower.consent.pk).update(valid_until=soon)
    assert not cell(commons.told(made["id"]))["told"]
    grower.withdrawn = False
    grower.withdraws()


def test_the_next_snapshot_leaves_out_who_left_and_does_not_show_them_by_subtraction(commons, told):
    commons.growers[11].withdraws()
    second = commons.made()
    assert (second["state"], second["number"]) == ("succeeded", 2)
    assert cell(second)["reason_code"] == "farm_left"
    assert cell(second, dimension="region", label=SHARED_REGION)["mean"] is not None
    with transaction.atomic():
        set_context(farms=[commons.growers[11].farm.pk])
        brought = BenchmarkPart.objects.for_farm(commons.growers[11].farm)
        assert [str(each) for each in brought.values_list("snapshot_id", flat=True)] == [told["id"]]


def test_who_comes_back_is_counted_as_before(commons, told):
    grower = commons.growers[11]
    grower.withdraws()
    grower.consents(commons.program, "benchmarks")
    again = commons.made()
    assert (again["state"], again["number"]) == ("succeeded", 2)
    assert [{**c} for c in again["cells"]] == told["cells"]


def test_enough_who_leave_let_the_others_be_told_anew(commons, told):
    for grower in commons.growers[6:]:
        grower.withdraws()
    second = commons.made()
    assert cell(second)["mean"] == three_digits(statistics.fmean(means_of(commons.growers[:6])))


def test_a_season_that_was_told_stays_as_it_is(commons, told):
    again = commons.made()
    assert again["state"] == "failed"
    assert again["failure"] == "The season stays as it was told in snapshot 1. Nothing that was told has changed."
    assert commons.told(told["id"])["cells"] == told["cells"]


def test_one_correction_does_not_make_a_new_snapshot_and_six_do(commons, told):
    def weigh(grower, kilograms):
        record = grower.client.get(f"{grower.url}/dormant-records").json()["results"][0]
        sent = {"pruning_weight": {"value": kilograms, "unit": "kg"}, "reason": "read again"}
        at = f"{grower.url}/dormant-records/{record['id']}"
        assert grower.client.patch(at, sent, format="json", headers={"If-Match": "*"}).status_code == 200
        return record["pruning_weight"]["value"]

    before = {}
    try:
        before[0] = weigh(commons.growers[0], 2)
        one = commons.made()
        assert one["state"] == "failed"
        assert "in one cell: 1; it takes 6" in one["failure"]
        before |= {n: weigh(commons.growers[n], 2) for n in range(1, 6)}
        six = commons.made()
        assert (six["state"], six["number"]) == ("succeeded", 2)
        assert cell(six)["mean"] > cell(told)["mean"]
    finally:
        for number, kilograms in before.items():
            weigh(commons.growers[number], kilograms)


def test_a_farm_that_takes_its_consent_back_while_it_is_made_counts_nowhere(commons, monkeypatch):
    gone = commons.growers[11]
    decided: list[int] = []

    def withdrawn_after_the_first(*args):
        found = decide(*args)
        if not decided:
            gone.withdraws()
        decided.append(1)
        return found

    monkeypatch.setattr(making, "decide", withdrawn_after_the_first)
    made = commons.made()
    assert len(decided) == 2
    assert cell(made)["mean"] == three_digits(statistics.fmean(means_of(commons.growers[:11])))
    assert gone.client.get(f"{gone.url}/access-log").json()["results"] == []


def test_the_result_is_the_same_bytes_with_and_without_a_farm_that_has_no_consent(commons):
    """J6: what the farm without consent has recorded has no influence at all."""
    gone = commons.growers[11]
    gone.withdraws()
    first = commons.made()
    columns = ("measure", "dimension", "label", "mean", "spread", "growers", "reason_code", "reason", "spread_reason")
    before = [tuple(getattr(each, name) for name in columns) for each in kept(first)[1]]
    record = gone.client.get(f"{gone.url}/dormant-records").json()["results"][0]
    at = f"{gone.url}/dormant-records/{record['id']}"
    taken = gone.client.delete(f"{at}?reason=a%20test", headers={"If-Match": "*"})
    assert taken.status_code in {200, 204}, taken.content
    commons.begins_anew()
    gone.withdraws()
    second = commons.made()
    assert [tuple(getattr(each, name) for name in columns) for each in kept(second)[1]] == before


# ------------------------------------------------------------------------------------------------- who may what


def test_every_farm_that_was_counted_reads_so_in_its_access_log(commons, told):
    grower = commons.growers[3]
    log = grower.client.get(f"{grower.url}/access-log").json()["results"]
    counted = [(visit["path"], visit["purpose"]) for visit in log if "benchmarks" in visit["path"]]
    assert counted == [(f"{commons.url}/{told['id']}", "benchmarks")]


def test_for_whoever_does_not_lead_there_is_no_such_thing(commons, told):
    for client in (commons.cast.stranger.client, commons.growers[0].client):
        assert commons.ask(client).status_code == 404
        assert commons.summary(client).status_code == 404
        assert client.get(f"{commons.url}/{told['id']}").status_code == 404


def test_what_farms_brought_is_seen_by_no_request_but_of_the_farm_itself(commons, told):
    grower, other = commons.growers[:2]
    with transaction.atomic(), connection.cursor() as cursor:
        for farms, expected in (([], 0), ([grower.farm.pk], 1), ([grower.farm.pk, other.farm.pk], 2)):
            set_context(person=commons.lead.person.pk, farms=farms)
            cursor.execute("SELECT count(*) FROM benchmark_part")
            assert cursor.fetchone() == (expected,)


def test_what_was_told_cannot_be_changed_by_the_role_that_serves(commons, told):
    from django.db import ProgrammingError

    for change in ("UPDATE benchmark_cell SET mean = 1", "DELETE FROM benchmark_cell", "DELETE FROM benchmark_part"):
        refused = pytest.raises(ProgrammingError, match="permission denied")
        with refused, transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(change)


def test_asking_while_one_is_being_made_gives_that_one_and_another_season_another(commons):
    first, second, other = commons.ask().json(), commons.ask().json(), commons.ask(season=2025).json()
    assert first["id"] == second["id"] != other["id"]
    assert commons.ask(id=str(uuid.uuid4())).status_code == 409


def test_one_is_cancelled_and_tried_again(commons):
    asked = commons.ask().json()
    at = f"{commons.url}/{asked['id']}"
    cancelled = commons.lead.client.post(f"{at}/cancellation")
    assert (cancelled.status_code, cancelled.json()["state"]) == (200, "cancelled")
    assert commons.lead.client.post(f"{at}/retry").status_code == 202
    making.run(uuid.UUID(asked["id"]))
    assert commons.told(asked["id"])["state"] == "succeeded"


def test_one_that_is_being_made_tells_how_far_it_is_and_stops_at_its_next_step(commons, monkeypatch):
    asked = commons.ask().json()
    seen: list[tuple[str, int, int]] = []

    def cancelled_on_the_way(counting):
        for each in sums_of_farms(counting):
            if each[0] == 6 and not seen:
                shown = commons.told(asked["id"])
                seen.append((shown["state"], shown["progress_done"], shown["progress_total"]))
                assert commons.lead.client.post(f"{commons.url}/{asked['id']}/cancellation").status_code == 202
            yield each

    monkeypatch.setattr(making, "sums_of_farms", cancelled_on_the_way)
    making.run(uuid.UUID(asked["id"]))
    assert seen == [("running", 5, 13)]
    assert commons.told(asked["id"])["state"] == "cancelled"
    assert not BenchmarkCell.objects.exists()


def test_of_two_deliveries_one_makes_it(commons):
    asked = commons.ask().json()
    assert take_up(BenchmarkSnapshot, uuid.UUID(asked["id"])) is not None
    making.run(uuid.UUID(asked["id"]))
    assert commons.told(asked["id"])["state"] == "running"


def test_too_few_growers_are_told_nothing(commons):
    for grower in commons.growers[5:]:
        grower.withdraws()
    made = commons.made()
    assert (made["state"], made["growers"]) == ("succeeded", "")
    assert not any(c["told"] for c in made["cells"])
    assert {c["dimension"] for c in made["cells"]} == {"all"}


def test_a_farm_that_is_erased_takes_its_figures_with_it_and_no_snapshot_stands_beside_them(commons, told):
    with connection.cursor() as cursor, transaction.atomic():
        set_context(farms=[commons.growers[4].farm.pk])
        cursor.execute("SELECT erase_farm(%s, %s)", [commons.growers[4].farm.pk, commons.growers[4].farm.name])
        left = commons.told(told["id"])
        again = BenchmarkSnapshot.objects.get(pk=told["id"])
        cursor.execute("SELECT count(*) FROM benchmark_part")
        parts = cursor.fetchone()
        transaction.set_rollback(True)
    assert not any(c["told"] for c in left["cells"] if c["dimension"] in {"all", "region"})
    assert (again.farm_erased, parts) == (True, (0,))
