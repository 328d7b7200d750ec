"""`manage.py report FARM SEASON`: the report of a farm in files, without a server, for whoever runs the machine."""

from __future__ import annotations

import json
import stat
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from rich.console import Console

from balance.models import Report, ReportFile
from balance.reports.rendering import FORMS
from records.access import open_for_work
from records.errors import NotValid
from records.models import Job, Membership
from records.services import jobs
from vineyard.management.commands import report as command

NAME = "Tern Hill Vineyard (invented)"


@pytest.fixture(autouse=True)
def _tables_are_there(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave the tables and the rights of the tests as they are; tests/vineyard/test_import_vines.py has it all."""
    monkeypatch.setattr(command, "prepare_database", lambda _: None)


@pytest.fixture
def said(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Run the command; gives what it printed."""

    def run(*arguments: object) -> str:
        out = Console(record=True, width=200, quiet=False)
        monkeypatch.setattr(command, "console", lambda: out)
        call_command("report", *map(str, arguments))
        return " ".join(out.export_text().split())

    return run


def test_every_form_is_written_as_the_api_serves_it_and_the_check_code_is_printed(desk, said, tmp_path):
    printed = said(desk.cast.farm.pk, 2027, "--units", "us", "--to", tmp_path)
    (report,) = desk.yard.client.get(desk.url).json()["results"]
    assert (report["season"], report["units"], report["state"]) == (2027, "us", "succeeded")
    assert f"{NAME}, season 2027, pounds, feet and acres" in printed
    assert f"Check code {report['check_code']}" in printed
    written = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    assert set(written) == {f"report-2027-us.{rendered.suffix}" for rendered in FORMS.values()}
    for form, rendered in FORMS.items():
        content = written[f"report-2027-us.{rendered.suffix}"]
        assert content == desk.file(report, form).content
        assert f"report-2027-us.{rendered.suffix}: {len(content)} bytes" in printed
    modes = {stat.S_IMODE(path.stat().st_mode) for path in tmp_path.iterdir()}
    assert modes == {0o600}, "a farm's report is for whoever asked for it"


def test_a_farm_is_named_and_one_form_is_chosen(desk, said, tmp_path):
    said(NAME, 2027, "--form", "json", "--to", tmp_path)
    (only,) = tmp_path.iterdir()
    document = json.loads(only.read_text())
    assert (only.name, document["farm_name"], document["units"]) == ("report-2027-metric.json", NAME, "metric")


def test_it_is_made_in_the_name_of_the_farms_owner(desk, said, tmp_path):
    said(NAME, 2027, "--form", "json", "--to", tmp_path)
    with transaction.atomic():
        open_for_work(desk.cast.farm.pk)
        job = Job.objects.for_farm(desk.cast.farm).select_related("asked_by").get()
    assert (job.kind, job.state, job.asked_by) == ("season_report", "succeeded", desk.cast.owner.person)


def test_how_far_it_is_is_shown_where_there_is_a_terminal(desk, tmp_path, monkeypatch):
    drawn = Console(record=True, width=100, force_terminal=True)
    monkeypatch.setattr(command, "console", lambda: drawn)
    call_command("report", NAME, "2027", "--form", "json", "--to", str(tmp_path))
    assert f"{1 + len(FORMS)}/{1 + len(FORMS)}" in drawn.export_text(), "one block and every form"


def refuses(said: Any, words: str, *arguments: object) -> None:
    with pytest.raises(CommandError, match=words):
        said(*arguments)


def test_what_cannot_be_made_is_refused_in_a_sentence_and_leaves_no_file(desk, said, tmp_path, monkeypatch):
    refuses(said, "There is no farm 'Nowhere'", "Nowhere", 2027, "--to", tmp_path)
    refuses(said, "There is no farm '01991b5e", "01991b5e-0000-7000-8000-00000000fa01", 2027, "--to", tmp_path)
    refuses(said, "from 1900 to 2100", NAME, 1066, "--to", tmp_path)
    refuses(said, "is no folder", NAME, 2027, "--to", tmp_path / "missing")
    refuses(said, "invalid choice", NAME, 2027, "--units", "stone")
    refuses(said, "invalid choice", NAME, 2027, "--form", "scroll")

    def comes_to_nothing(*_: Any) -> Any:
        yield 1, 9
        raise NotValid("The farm has more than 200 blocks, which one report does not hold.")

    monkeypatch.setitem(jobs.KINDS, "season_report", comes_to_nothing)
    refuses(said, "more than 200 blocks", NAME, 2027, "--to", tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_there_is_not_overwritten(desk, said, tmp_path):
    (tmp_path / "report-2027-metric.json").write_text("mine")
    refuses(said, "is there already", NAME, 2027, "--form", "json", "--to", tmp_path)
    assert (tmp_path / "report-2027-metric.json").read_text() == "mine"
    with transaction.atomic():
        open_for_work(desk.cast.farm.pk)
        assert not Report.objects.for_farm(desk.cast.farm).exists(), "nothing is made that cannot be written"


def test_a_folder_that_nobody_may_write_to_is_named(desk, said, tmp_path: Path, monkeypatch):
    def full(*_: Any) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("vineyard.management.commands.report.os.open", full)
    refuses(said, "No space left on device", NAME, 2027, "--to", tmp_path)


def test_a_farm_without_an_owner_has_nobody_who_could_ask(desk, said, tmp_path):
    with transaction.atomic():
        open_for_work(desk.cast.farm.pk)
        Membership.objects.for_farm(desk.cast.farm).filter(role="owner").delete()
    refuses(said, "no owner", NAME, 2027, "--to", tmp_path)


def test_somebody_who_cancels_it_meanwhile_is_heard(desk, said, tmp_path, monkeypatch):
    whole = jobs.KINDS["season_report"]

    def cancelled(farm_id: Any, job_id: Any) -> Any:
        for done, total in whole(farm_id, job_id):
            desk.cast.owner.client.post(f"{desk.yard.url}/jobs/{job_id}/cancellation")
            yield done, total

    monkeypatch.setitem(jobs.KINDS, "season_report", cancelled)
    refuses(said, "cancelled the report", NAME, 2027, "--to", tmp_path)
    assert list(tmp_path.iterdir()) == []
    with transaction.atomic():
        open_for_work(desk.cast.farm.pk)
        assert not ReportFile.objects.for_farm(desk.cast.farm).exists(), "no half of it is kept"
