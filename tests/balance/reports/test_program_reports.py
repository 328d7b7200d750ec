"""The season report of a program: many farms together, within their consents, and no farm seen through.

The village stands for the whole file, because twelve farms take seconds to write down: each test begins without a
report, and with every consent in force.
"""

from __future__ import annotations

import io
import statistics
import uuid
import zipfile

import pypdfium2
import pytest
from django.db import connection

from balance.models import ProgramReport
from balance.program_work import asking
from balance.reports.document import check_code_of
from balance.reports.programs import contributions, making
from balance.reports.programs.contributions import sums_of_farm
from balance.reports.programs.releasing import REST
from balance.reports.programs.rendering import FORMS
from records.models import ProgramMembership
from tests.balance.reports.village import CANARY, SHARED_REGION, Village


@pytest.fixture(scope="module")
def founded(django_db_setup, django_db_blocker):
    """Write the village down once, and leave the tables empty behind it."""
    from django.core.management import call_command

    from tests.conftest import ROOT, make_cast

    with django_db_blocker.unblock():
        from records.models import PruningFormula
        from records.services.catalogue import load_catalogues

        if not PruningFormula.objects.exists():
            load_catalogues(ROOT / "fixtures" / "catalogue")
        yield Village(make_cast())
        call_command("flush", verbosity=0, interactive=False, reset_sequences=False, inhibit_post_migrate=True)


@pytest.fixture
def village(founded, django_db_blocker):
    with django_db_blocker.unblock():
        with connection.cursor() as cursor:
            cursor.execute("TRUNCATE program_report, program_report_file, visit")
        for grower in founded.growers:
            grower.consents_again(founded.program)
        ProgramMembership.objects.get_or_create(program=founded.program, person=founded.lead.person)
        yield founded


@pytest.fixture
def report(village):
    made = village.made()
    assert made["state"] == "succeeded", made
    return made


def section(document, code):
    return next(each for each in document["sections"] if each["code"] == code)


def rows(document, code, by):
    """Give the lines of a table by their group."""
    table = next(each for each in section(document, code)["tables"] if each["code"].endswith(f"_by_{by}"))
    return {line[0]: line[1:] for line in table["rows"]}


def figure(document, code, name):
    return next(each for each in section(document, code)["figures"] if each["code"].startswith(name))["value"]


def three_digits(value):
    return float(f"{value:.3g}")


# ------------------------------------------------------------------------------------------------ what it says


def test_a_cell_is_what_a_hand_reckons_from_the_weights_of_its_farms(village, report):
    document = village.document(report)
    weights = [kg for grower in village.growers[:6] for kg in grower.weights]
    growers, mean, spread = rows(document, "vine_size", "region")[SHARED_REGION]
    assert (growers, mean) == ("5 to 9", three_digits(statistics.fmean(weights)))
    assert spread == pytest.approx(statistics.stdev(weights), abs=0.01)
    everyone = [kg for grower in village.growers for kg in grower.weights]
    assert figure(document, "vine_size", "pruning_weight") == three_digits(statistics.fmean(everyone))


def test_crop_load_is_the_harvest_before_over_the_prunings_of_the_winter_after_it(village, report):
    document = village.document(report)
    crop = sum(grower.yield_kg for grower in village.growers)
    wood = sum(sum(grower.weights) for grower in village.growers)  # every vine was weighed
    assert figure(document, "crop_load", "crop_load") == three_digits(crop / wood)
    of_six = village.growers[:6]
    told = rows(document, "crop_load", "region")[SHARED_REGION][1]
    assert told == three_digits(sum(g.yield_kg for g in of_six) / sum(sum(g.weights) for g in of_six))


def test_guesses_of_all_pruners_are_pooled_in_percent_of_the_weights(village, report):
    document = village.document(report)
    assert figure(document, "calibration", "bias") == 10  # each guess was a tenth too heavy
    assert figure(document, "calibration", "spread") == 0


def test_blank_positions_and_the_outlook_are_of_all_together(village, report):
    document = village.document(report)
    assert figure(document, "structure", "blank_positions") == pytest.approx(20)
    table = section(document, "replacement_outlook")["tables"][0]
    assert [line[0] for line in table["rows"]] == [2027, 2028, 2029, 2030, 2031]
    assert 5 < table["rows"][0][1] < 15  # 12 of 48 cordons failed in the winter before
    assert "about 40 cordons that stand" in " ".join(section(document, "replacement_outlook")["sentences"])


def test_participation_is_told_in_bands_and_tens(village, report):
    table = section(village.document(report), "participation")["tables"][0]
    assert [line[1] for line in table["rows"]] == ["10 to 19", "about 10", "about 50"]


def test_a_group_of_too_few_growers_is_neither_shown_nor_named_nor_had_by_subtraction(village, report):
    document = village.document(report)
    told = rows(document, "vine_size", "cultivar")
    assert told == {REST: ["not shown", "not shown", "not shown"]}  # of Niagara are four, so Concord's eight go too
    assert "Niagara" not in str(document)


def test_the_same_season_in_other_units_says_the_same_numbers(village, report):
    other = village.made(units="us")
    assert other["state"] == "succeeded", other
    kilograms, pounds = (figure(village.document(each), "vine_size", "pruning_weight") for each in (report, other))
    assert pounds == pytest.approx(kilograms / 0.45359237, rel=1e-9)
    assert other["taken_at"] == report["taken_at"]


def test_the_check_code_is_that_of_everything_it_says(village, report):
    document = village.document(report)
    assert report["check_code"] == document["check_code"] == check_code_of(document)


def test_made_again_it_is_the_same_bytes(village, report):
    again = village.made()
    assert again["id"] != report["id"]
    for form in FORMS:
        assert village.file(again, form).content == village.file(report, form).content, form


def test_what_changes_while_farms_are_counted_belongs_to_no_report_of_that_moment(village, monkeypatch):
    last, counted = village.growers[-1], sums_of_farm
    record = last.client.get(f"{last.url}/dormant-records").json()["results"][0]
    at = f"{last.url}/dormant-records/{record['id']}"

    def weigh(kilograms):
        sent = {"pruning_weight": {"value": kilograms, "unit": "kg"}, "reason": "read again"}
        assert last.client.patch(at, sent, format="json", headers={"If-Match": "*"}).status_code == 200

    def corrected_meanwhile(counting, farm_id):
        yield from counted(counting, farm_id)
        weigh(9)

    monkeypatch.setattr(contributions, "sums_of_farm", corrected_meanwhile)
    try:
        document = village.document(village.made())
    finally:
        weigh(record["pruning_weight"]["value"])
    everyone = [kg for grower in village.growers for kg in grower.weights]
    assert figure(document, "vine_size", "pruning_weight") == three_digits(statistics.fmean(everyone))


# ---------------------------------------------------------------------------------------------- who is protected


def words_of(content, form):
    """Give all that a form says, unpacked, as it is and as a reader sees it."""
    if form in {"csv", "xlsx"}:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            return b"".join(archive.read(name) for name in archive.namelist())
    if form == "pdf":
        return (
            content
            + "".join(page.get_textpage().get_text_bounded() for page in pypdfium2.PdfDocument(content)).encode()
        )
    return content


@pytest.mark.parametrize("form", FORMS)
def test_no_farm_no_block_and_no_person_is_in_any_byte_of_a_form(village, report, form):
    content = village.file(report, form).content
    said = words_of(content, form)
    assert CANARY.lower().encode() not in (content + said).lower()
    ids = [each for grower in village.growers for each in (grower.farm.pk, grower.block.pk, grower.person.pk)]
    assert not [each for each in ids if str(each).encode() in said]
    assert village.program.name.encode() in said  # else nothing of it would have been read


def test_every_farm_that_was_counted_reads_so_in_its_access_log(village, report):
    log = village.growers[3].client.get(f"{village.growers[3].url}/access-log").json()["results"]
    assert [visit["path"] for visit in log] == [f"/api/v1/programs/{village.program.pk}/reports/{report['id']}"]


def test_a_farm_that_took_its_consent_back_before_counts_nowhere(village):
    gone = village.growers[11]
    gone.withdraws()
    document = village.document(village.made())
    others = [kg for grower in village.growers[:11] for kg in grower.weights]
    assert figure(document, "vine_size", "pruning_weight") == three_digits(statistics.fmean(others))


def test_a_farm_that_takes_its_consent_back_while_it_runs_counts_nowhere(village, monkeypatch):
    gone = village.growers[11]
    rendered: list[int] = []
    render = making._rendered

    def withdrawn_after_the_first(*args):
        files = render(*args)
        if not rendered:
            gone.withdraws()
        rendered.append(1)
        return files

    monkeypatch.setattr(making, "_rendered", withdrawn_after_the_first)
    document = village.document(village.made())
    others = [kg for grower in village.growers[:11] for kg in grower.weights]
    assert len(rendered) == 2
    assert figure(document, "vine_size", "pruning_weight") == three_digits(statistics.fmean(others))
    assert gone.client.get(f"{gone.url}/access-log").json()["results"] == []


def test_no_second_report_shows_by_subtraction_who_left(village, report):
    village.growers[11].withdraws()
    second = village.made(units="us")
    assert second["state"] == "failed"
    assert "taken its consent back" in second["failure"]
    assert village.file(second, "json").status_code == 409


def test_fewer_than_the_least_are_told_so_and_nothing_else(village):
    for grower in village.growers[5:]:
        grower.withdraws()
    report = village.made()
    document = village.document(report)
    assert report["state"] == "succeeded"
    assert all(not each["figures"] and not each["tables"] and not each["charts"] for each in document["sections"])
    assert section(document, "participation")["reason"].startswith("Nothing is shown: fewer than 5 growers")
    assert document["released"] == {"farms": "", "blocks": None, "vines": None, "cells": [], "outlook": None}


def test_farms_of_one_owner_are_one_grower(village):
    """Six farms, two of which belong together, are five growers: too few."""
    from django.db import transaction

    from records.context import set_context
    from records.models import Membership

    for grower in village.growers[6:]:
        grower.withdraws()
    first, second = village.growers[:2]
    with transaction.atomic():
        set_context(farms=[second.farm.pk])
        both = Membership.objects.create(farm=second.farm, person=first.person, role="owner")
    try:
        assert village.document(village.made())["released"]["farms"] == ""
    finally:
        with transaction.atomic():
            set_context(farms=[second.farm.pk])
            both.delete()


# -------------------------------------------------------------------------------------------------- who may ask


def test_strangers_growers_and_leads_of_another_program_find_nothing(village, report):
    from records.models import Program

    elsewhere, _ = Program.objects.get_or_create(name="Quarry Growers (invented)", region="Quarry Bend (invented)")
    ProgramMembership.objects.get_or_create(program=elsewhere, person=village.cast.stranger.person)
    for client in (village.cast.stranger.client, village.cast.owner.client, village.growers[0].client):
        assert village.ask(client).status_code == 404
        for address in (village.url, f"{village.url}/{report['id']}", f"{village.url}/{report['id']}/files/json"):
            assert client.get(address).status_code == 404
    own = f"/api/v1/programs/{elsewhere.pk}/reports/{report['id']}"  # of the other program it is no report
    assert village.cast.stranger.client.get(own).status_code == 404


def test_a_key_that_is_bound_to_certain_farms_does_not_ask_for_many(village):
    from rest_framework.test import APIClient

    from records.services.keys import make_key

    client = APIClient()
    _, text = make_key(village.lead.person, label="bound", scopes=["read"], farm_ids=[village.growers[0].farm.pk])
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {text}")
    assert village.ask(client).status_code == 403


def test_asking_while_one_is_being_made_gives_that_one(village):
    first, second, us = village.ask().json(), village.ask().json(), village.ask(units="us").json()
    assert first["id"] == second["id"] != us["id"]
    refused = village.ask(id=str(uuid.uuid4()))
    assert refused.status_code == 409
    assert first["id"] in refused.json()["detail"]


def test_an_id_of_the_clients_own_is_one_report_for_ever(village):
    own = str(uuid.uuid4())
    first = village.ask(id=own)
    assert (first.status_code, first.json()["id"], first.json()["state"]) == (202, own, "queued")
    assert first.headers["Location"].endswith(f"{village.url}/{own}")
    making.run(uuid.UUID(own))
    assert village.ask(id=own).json()["state"] == "succeeded"
    assert ProgramReport.objects.count() == 1
    assert village.ask(id=own, units="us").status_code == 409


def test_files_are_not_there_before_it_is_made(village):
    asked = village.ask().json()
    assert asked["files"] == {}
    assert village.file(asked, "pdf").status_code == 409
    assert village.lead.client.get(f"{village.url}/{asked['id']}/files/docx").status_code == 404


def test_the_list_shows_the_newest_first_and_of_a_season(village, report):
    later = village.ask(season=2027).json()
    listed = village.lead.client.get(village.url).json()["results"]
    assert [each["id"] for each in listed] == [later["id"], report["id"]]
    assert [each["id"] for each in village.lead.client.get(f"{village.url}?season=2026").json()["results"]] == [
        report["id"]
    ]


def test_whoever_leads_no_more_gets_no_report(village):
    asked = village.ask().json()
    ProgramMembership.objects.filter(program=village.program, person=village.lead.person).delete()
    making.run(uuid.UUID(asked["id"]))
    row = village.row(asked["id"])
    assert (row.state, row.document) == ("failed", None)
    assert row.failure.startswith("Whoever asked for the report does not lead the program any more")


def test_a_worker_is_woken_once_the_question_is_committed(village, monkeypatch):
    woken = []
    monkeypatch.setattr(asking, "wake_for", lambda *told: woken.append(told))
    asked = village.ask().json()
    assert woken == [("balance.reports.tasks.make_program_report", uuid.UUID(asked["id"]))]


def test_two_reports_of_a_season_that_are_made_at_once_say_the_same_numbers(village, monkeypatch):
    metric, us = village.ask().json(), village.ask(units="us").json()
    render = making._rendered
    started: list[int] = []

    def overtaken(held, *told):
        if not started:
            started.append(1)
            making.run(uuid.UUID(us["id"]))
        return render(held, *told)

    monkeypatch.setattr(making, "_rendered", overtaken)
    making.run(uuid.UUID(metric["id"]))
    both = [village.told(each["id"]) for each in (metric, us)]
    assert [each["state"] for each in both] == ["succeeded", "succeeded"]
    assert both[0]["taken_at"] == both[1]["taken_at"]
    assert village.document(both[0])["released"] == village.document(both[1])["released"]


# ------------------------------------------------------------------------------------------- on the command line


@pytest.fixture
def said(monkeypatch):
    """Run the command; gives what it printed."""
    from django.core.management import call_command
    from rich.console import Console

    from vineyard.management.commands import report as command

    monkeypatch.setattr(command, "prepare_database", lambda _: None)

    def run(*arguments):
        out = Console(record=True, width=200)
        monkeypatch.setattr(command, "console", lambda: out)
        call_command("report", "--program", *map(str, arguments))
        return " ".join(out.export_text().split())

    return run


def test_the_command_writes_every_form_as_the_api_serves_it(village, said, tmp_path):
    printed = said(village.program.name, 2026, "--to", tmp_path)
    (report,) = village.lead.client.get(village.url).json()["results"]
    assert f"Check code {report['check_code']}" in printed
    for form, rendered in FORMS.items():
        written = (tmp_path / f"report-2026-metric.{rendered.suffix}").read_bytes()
        assert written == village.file(report, form).content


def test_the_command_says_why_there_is_no_report_and_leaves_no_file(village, said, tmp_path):
    from django.core.management import CommandError

    with pytest.raises(CommandError, match="There is no program 'Nowhere'"):
        said("Nowhere", 2026, "--to", tmp_path)
    ProgramMembership.objects.filter(program=village.program).delete()
    with pytest.raises(CommandError, match="no lead"):
        said(village.program.pk, 2026, "--to", tmp_path)
    assert list(tmp_path.iterdir()) == []
