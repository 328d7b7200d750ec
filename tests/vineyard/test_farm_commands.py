"""What whoever runs the machine does for people and farms from the command line."""

from __future__ import annotations

import io
import json
import stat
import uuid
import zipfile
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth import authenticate
from django.core.management import CommandError, call_command
from django.db import transaction

from records.access import enter, open_farm
from records.models import Erasure, Person
from records.services.vineyards import create_block
from vineyard.management.commands import list_farms, make_person

PASSWORD = "walnut-ladder-ninety"


@pytest.fixture
def farms(transactional_db: None, cast: Any) -> Any:
    with transaction.atomic():
        enter(cast.owner.caller)
        create_block(open_farm(cast.owner.caller, cast.farm.pk), None, {"name": "Lower Terrace"})
    return cast


def call(*command: object, **options: Any) -> str:
    said = io.StringIO()
    call_command(*map(str, command), stdout=said, **options)
    return said.getvalue()


@pytest.fixture
def password_file(tmp_path: Path) -> Path:
    file = tmp_path / "password"
    file.write_text(PASSWORD + "\n")
    return file


@pytest.mark.django_db
def test_a_person_is_made_who_can_sign_in_and_is_no_staff_unless_that_is_said(password_file):
    said = call("make_person", "ines@tern-hill.example", "--name", "Ines Falk", "--password-file", password_file)
    person = Person.objects.get()
    assert authenticate(username="ines@tern-hill.example", password=PASSWORD) == person
    assert (person.is_staff, person.is_superuser) == (False, False)
    assert PASSWORD not in said
    call("make_person", "ines@tern-hill.example", "--staff", "--no-password")
    person.refresh_from_db()
    assert person.is_staff and person.check_password(PASSWORD)


@pytest.mark.django_db
def test_a_password_is_asked_for_twice_where_no_file_gives_it(monkeypatch):
    typed = iter([PASSWORD, PASSWORD, PASSWORD, "something-else-typed"])
    monkeypatch.setattr(make_person, "getpass", lambda _: next(typed))
    call("make_person", "ines@tern-hill.example", "--name", "Ines Falk")
    assert Person.objects.get().check_password(PASSWORD)
    with pytest.raises(CommandError, match="The two passwords differ"):
        call("make_person", "ines@tern-hill.example")


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("password", "reason"),
    [("short", "at least 12 characters"), ("123456789012345", "entirely numeric"), ("Ines Falk Ines", "too similar")],
)
def test_a_weak_password_makes_nobody_and_says_why(password, reason, tmp_path):
    (tmp_path / "password").write_text(password)
    with pytest.raises(CommandError, match=reason):
        call("make_person", "i@x.example", "--name", "Ines Falk Ines", "--password-file", tmp_path / "password")
    assert not Person.objects.exists()


@pytest.mark.django_db
def test_somebody_new_needs_a_name_and_an_address_that_is_one(password_file):
    for arguments, reason in (
        (["nobody@x.example"], "Give --name"),
        (["no address", "--name", "N"], "no e-mail address"),
    ):
        with pytest.raises(CommandError, match=reason):
            call("make_person", *arguments, "--password-file", password_file)


def test_farms_are_listed_with_program_and_counts_and_in_pages(farms, capsys, monkeypatch):
    rows = listed(capsys)
    assert "Tern Hill" in rows and "Quarry Bend" in rows and "Harrow Vale" in rows
    assert "Quarry Bend" not in listed(capsys, "--name", "tern hill")
    monkeypatch.setattr(list_farms, "MOST_AT_ONCE", 1)
    first = listed(capsys)
    assert "Quarry Bend" in first and "Tern Hill" not in first and "--after" in first
    assert "Tern Hill" in listed(capsys, "--after", "Quarry Bend Farm (invented)")


def listed(capsys: Any, *arguments: str) -> str:
    call("list_farms", *arguments)
    said: str = capsys.readouterr().out
    return said


def test_a_farm_is_written_to_a_file_that_only_its_owner_reads_and_none_is_overwritten(farms, tmp_path):
    file = tmp_path / "farm.zip"
    call("export_farm", farms.farm.pk, file)
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    with zipfile.ZipFile(file) as archive:
        assert archive.testzip() is None
        assert json.loads(archive.read("block.ndjson"))["name"] == "Lower Terrace"
    before = file.read_bytes()
    with pytest.raises(CommandError, match="File exists"):
        call("export_farm", farms.farm.pk, file)
    assert file.read_bytes() == before


def test_no_half_file_is_left_where_there_is_no_such_farm(farms, tmp_path):
    with pytest.raises(CommandError, match="There is no farm"):
        call("export_farm", uuid.uuid4(), tmp_path / "farm.zip")
    assert list(tmp_path.iterdir()) == []


def test_a_farm_is_erased_with_its_name_as_confirmation_and_the_log_names_no_person(farms):
    with pytest.raises(CommandError, match="This is not the farm's name"):
        call("erase_farm", farms.farm.pk, "--name", "Tern")
    said = call("erase_farm", farms.farm.pk, "--name", farms.farm.name)
    assert f"Erased {farms.farm.pk}" in said
    assert Erasure.objects.get().asked_by_id is None
    with pytest.raises(CommandError, match="There is no farm"):
        call("erase_farm", farms.farm.pk, "--name", farms.farm.name)


def test_the_log_is_printed_and_replayed_from_a_file(farms, tmp_path):
    call("erase_farm", farms.farm.pk, "--name", farms.farm.name)
    log = call("erase_farm", "--log")
    assert json.loads(log)["farm"] == str(farms.farm.pk)
    (tmp_path / "log").write_text(log)
    assert call("erase_farm", "--replay", tmp_path / "log") == "0 farms had come back.\n"
    assert call("erase_farm", "--replay") == "0 farms had come back.\n"


@pytest.mark.parametrize("arguments", [[], ["--log", "--replay"]])
def test_it_does_one_thing_at_a_time(arguments):
    with pytest.raises(CommandError, match="one of the three"):
        call("erase_farm", *arguments)
