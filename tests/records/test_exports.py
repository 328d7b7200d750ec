"""Everything of a farm taken out: whole, at one point in time, nothing of others, and not for ever."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import uuid
import zipfile
from datetime import timedelta
from typing import Any

import pytest
from django.apps import apps
from django.db import connection, transaction
from django.utils import timezone

from records.access import enter, open_farm, open_for_work
from records.exporting.archive import Parts, write_archive
from records.exporting.cells import RISKY, harmless, line_of
from records.exporting.sheets import NOT_TAKEN_OUT, SECRET, sheets, tables_of_a_farm
from records.exporting.snapshot import snapshot_of
from records.models import Block, Export, ExportPart, Job, JobTicket
from records.services import exports, jobs
from records.services.farms import set_role
from records.services.vineyards import change_block, create_block, create_row, plant_row

OWN, FOREIGN = "Canary-of-the-first", "Canary-of-the-other"
FORMULA = '=HYPERLINK("http://x","y")'


@pytest.fixture
def farms(transactional_db: None, cast: Any) -> Any:
    """Two farms, each with its canary in a name, a note, a replaced version, an imported file and a record."""
    with transaction.atomic():
        for player, farm, canary in ((cast.owner, cast.farm, OWN), (cast.stranger, cast.other_farm, FOREIGN)):
            enter(player.caller)
            opened = open_farm(player.caller, farm.pk)
            block = create_block(opened, None, {"name": f"{canary} block", "note": f"{canary} old note"}).row
            plant_row(opened, create_row(opened, block, None, 1).row, 3)
            change_block(opened, block.pk, {"note": FORMULA}, version=1, reason=f"{canary} reason")
    for player, farm, canary in ((cast.owner, cast.farm, OWN), (cast.stranger, cast.other_farm, FOREIGN)):
        text = f"row,vine,pruning_weight,remark\n1,1,1.25,{canary} remark\n"
        asked = player.client.post(
            f"/api/v1/farms/{farm.pk}/imports?block={canary}-imported&season=2027&map=plain",
            text,
            content_type="text/csv",
        )
        assert asked.status_code == 202, asked.json()
        jobs.run(farm.pk, uuid.UUID(asked.json()["job"]["id"]))
    return cast


def address(farm: Any, *more: object) -> str:
    return "/".join([f"/api/v1/farms/{farm.pk}/exports", *map(str, more)])


def take_out(cast: Any) -> dict[str, Any]:
    """Ask for everything, let the job run, and give the export as it is shown then."""
    asked = cast.owner.client.post(address(cast.farm))
    assert asked.status_code == 202
    jobs.run(cast.farm.pk, uuid.UUID(asked.json()["job"]))
    shown: dict[str, Any] = cast.owner.client.get(address(cast.farm, asked.json()["id"])).json()
    return shown


def fetched(cast: Any, export: dict[str, Any]) -> Any:
    return cast.owner.client.get(address(cast.farm, export["id"], "file"))


def archive_of(cast: Any) -> zipfile.ZipFile:
    answer = fetched(cast, take_out(cast))
    assert answer.status_code == 200
    return zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))


def in_context(farm: Any, query: Any) -> Any:
    with transaction.atomic():
        open_for_work(farm.pk)
        return query()


def test_every_canary_of_the_farm_is_in_both_forms_and_none_of_the_other_farm(farms):
    archive = archive_of(farms)
    assert archive.testzip() is None
    for form in ("ndjson", "csv"):
        texts = "".join(archive.read(name).decode() for name in archive.namelist() if name.endswith(form))
        for canary in ("block", "old note", "reason", "remark"):
            assert f"{OWN} {canary}" in texts, (form, canary)
    everything = b"".join(archive.read(name) for name in archive.namelist())
    assert FOREIGN.encode() not in everything
    assert str(farms.other_farm.pk).encode() not in everything


@pytest.mark.django_db
def test_every_table_with_a_farm_in_the_database_is_a_sheet_or_left_out_for_a_reason():
    sql = """
        SELECT table_name FROM information_schema.columns JOIN information_schema.tables USING (table_schema, table_name)
        WHERE column_name = 'farm_id' AND table_schema = 'public' AND table_type = 'BASE TABLE'
    """
    with connection.cursor() as cursor:
        cursor.execute(sql)
        found = {name for (name,) in cursor.fetchall()}
    assert found == {sheet.name for sheet in sheets() if '"farm_id"' in sheet.source} - {"people"} | set(NOT_TAKEN_OUT)


@pytest.mark.django_db
@pytest.mark.parametrize("model", tables_of_a_farm() if apps.ready else [], ids=lambda model: model.__name__)
def test_every_column_that_the_database_has_is_taken_out(model):
    sheet = next(sheet for sheet in sheets() if sheet.name == model._meta.db_table)
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT column_name FROM information_schema.columns WHERE table_schema = 'public' AND table_name = %s",
            [sheet.name],
        )
        named = {name for (name,) in cursor.fetchall()}
    secret = {column for table, column in SECRET if table == sheet.name}
    assert named - secret == {column.name for column in sheet.columns}


def test_what_the_farm_and_its_program_added_to_the_catalogues_is_in_it_and_nobody_elses(farms):
    for player, place, code in (
        (farms.owner, f"farms/{farms.farm.pk}", "own-first"),
        (farms.stranger, f"farms/{farms.other_farm.pk}", "own-other"),
        (farms.lead, f"programs/{farms.program.pk}", "program-theirs"),
    ):
        said = {"code": code, "label": code, "source": "a trial (invented)"}
        formula = {**said, "kind": "fixed", "first_nodes": 80}
        limits = {**said, "measure": "mean_cane_weight", "low": 20, "unit": "g"}
        for noun, sent in (("formulas", formula), ("ranges", limits)):
            assert player.client.post(f"/api/v1/{place}/{noun}", sent, format="json").status_code == 201
    chosen = {"measure": "mean_cane_weight", "range": "own-first"}
    place = f"/api/v1/farms/{farms.farm.pk}/range-choices"
    assert farms.owner.client.post(place, chosen, format="json").status_code == 201
    archive = archive_of(farms)
    for table in ("pruning_formula", "balance_range"):
        rows = [json.loads(line) for line in archive.read(f"catalogue/{table}.ndjson").decode().splitlines()]
        own = {row["code"]: row["owner_farm_id"] for row in rows if row["code"].startswith(("own-", "program-"))}
        assert own == {"own-first": str(farms.farm.pk), "program-theirs": None}
        assert table == "balance_range" or "american-30-10-lb" in {row["code"] for row in rows}
    choice = json.loads(archive.read("range_choice.ndjson").decode())
    assert choice["range_id"] in {
        json.loads(line)["id"] for line in archive.read("catalogue/balance_range.ndjson").splitlines()
    }


def test_both_forms_hold_every_row_with_the_same_values(farms):
    archive = archive_of(farms)
    for name in ("vine", "record_change", "dormant_record", "membership"):
        objects = [json.loads(line) for line in archive.read(f"{name}.ndjson").decode().splitlines()]
        lines = list(csv.DictReader(io.StringIO(archive.read(f"{name}.csv").decode(), newline="")))
        assert [line["id"] for line in lines] == [told["id"] for told in objects] != []
    weights = [
        line["pruning_weight_kg"] for line in csv.DictReader(io.StringIO(archive.read("dormant_record.csv").decode()))
    ]
    assert [float(weight) for weight in weights] == [1.25]


def test_an_imported_file_comes_back_as_it_was_sent(farms):
    archive = archive_of(farms)
    told = json.loads(archive.read("import.ndjson").decode())
    content = archive.read(told["content"])
    assert hashlib.sha256(content).hexdigest() == told["file_sha256"]


def test_the_readme_names_every_table_and_every_column(farms):
    archive = archive_of(farms)
    words = set(archive.read("README.txt").decode().split())
    for sheet in sheets():
        assert {sheet.name, *(column.name for column in sheet.columns)} <= words
    assert "[kg]" in words


def test_it_shows_one_point_in_time_whatever_is_written_while_it_is_read(farms):
    collected: list[bytes] = []
    parts = Parts(lambda _, content: collected.append(content))
    with snapshot_of(farms.farm.pk) as snapshot:
        writing = write_archive(snapshot, parts)
        next(writing)  # the snapshot is taken, nothing is read yet
        with transaction.atomic():
            opened = open_for_work(farms.farm.pk)
            Block.objects.create(farm=opened, name="Planted meanwhile")
        list(writing)
    archive = zipfile.ZipFile(io.BytesIO(b"".join(collected)))
    assert b"Planted meanwhile" not in archive.read("block.ndjson")
    assert b"Planted meanwhile" in archive_of(farms).read("block.ndjson")


def test_a_worker_that_died_half_way_leaves_nothing_of_its_file_in_the_next(farms):
    asked = farms.owner.client.post(address(farms.farm)).json()
    job = uuid.UUID(asked["job"])
    export = in_context(farms.farm, lambda: Export.objects.for_farm(farms.farm).get())
    jobs._take_up(farms.farm.pk, job)  # the first attempt writes a part and is never heard of again
    exports._store(export, 1, 0, b"half a file")
    JobTicket.objects.filter(job_id=job).update(leased_until=timezone.now() - timedelta(seconds=1))
    jobs.run(farms.farm.pk, job)
    answer = fetched(farms, asked)
    assert zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content))).testzip() is None
    attempts = in_context(
        farms.farm, lambda: set(ExportPart.objects.for_farm(farms.farm).values_list("attempt", flat=True))
    )
    assert attempts == {2}


def test_asking_again_while_one_is_written_gives_the_same(farms):
    first, second = (farms.owner.client.post(address(farms.farm)) for _ in range(2))
    assert (first.status_code, second.status_code) == (202, 202)
    assert first.json()["id"] == second.json()["id"]


def test_the_file_cannot_be_fetched_before_it_is_whole(farms):
    asked = farms.owner.client.post(address(farms.farm)).json()
    answer = fetched(farms, asked)
    assert (answer.status_code, asked["file"]) == (409, None)
    assert "Follow its job" in answer.json()["detail"]


def test_a_download_is_an_attachment_that_no_cache_keeps_and_no_browser_guesses_at(farms):
    export = take_out(farms)
    answer = fetched(farms, export)
    assert answer.headers["Content-Disposition"].startswith("attachment; filename=")
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Cache-Control"] == "private, no-store"
    content = b"".join(answer.streaming_content)
    assert int(answer.headers["Content-Length"]) == len(content) == export["size"]
    assert hashlib.sha256(content).hexdigest() == export["sha256"]


def test_a_client_that_accepts_a_zip_and_nothing_else_gets_it(farms):
    export = take_out(farms)
    got = farms.owner.client.get(address(farms.farm, export["id"], "file"), headers={"Accept": "application/zip"})
    assert got.status_code == 200


def test_an_expired_file_is_gone_and_its_bytes_are_removed_by_the_job_that_was_noted_for_then(farms):
    export = take_out(farms)
    ticket = JobTicket.objects.get(farm_id=farms.farm.pk)
    assert ticket.leased_until > timezone.now() + exports.KEPT_FOR - timedelta(minutes=1)
    past = timezone.now() - timedelta(seconds=1)
    in_context(farms.farm, lambda: Export.objects.for_farm(farms.farm).update(expires_at=past))
    answer = fetched(farms, export)
    assert (answer.status_code, answer.json()["code"]) == (410, "expired")
    JobTicket.objects.update(leased_until=past)
    jobs.run(farms.farm.pk, ticket.job_id)
    assert in_context(farms.farm, lambda: ExportPart.objects.for_farm(farms.farm).count()) == 0
    assert fetched(farms, export).status_code == 410


def test_a_further_export_takes_the_place_of_the_oldest(farms):
    taken = [take_out(farms) for _ in range(exports.MOST_KEPT + 1)]
    assert [fetched(farms, export).status_code for export in taken] == [410] + [200] * exports.MOST_KEPT


def test_whoever_loses_their_part_in_the_farm_gets_no_further_part_of_a_running_download(farms, monkeypatch):
    monkeypatch.setattr("records.exporting.archive.PART_BYTES", 1_000)
    answer = fetched(farms, take_out(farms))
    stream = iter(answer.streaming_content)
    assert next(stream)
    in_context(farms.farm, lambda: set_role(farms.farm, farms.owner.person, "viewer"))
    with pytest.raises(Exception, match="you may not do this"):
        list(stream)


def test_a_failed_export_says_why_and_what_to_do(farms):
    asked = farms.owner.client.post(address(farms.farm)).json()
    in_context(
        farms.farm, lambda: Job.objects.for_farm(farms.farm).filter(pk=asked["job"]).update(state="failed", failure="It was tried 3 times.")
    )  # fmt: skip
    answer = fetched(farms, asked)
    assert (answer.status_code, "Ask for another one" in answer.json()["detail"]) == (409, True)


@pytest.mark.parametrize("beginning", RISKY)
def test_a_text_that_begins_like_a_formula_is_written_as_text_and_can_be_had_back(beginning):
    text = f"{beginning}1+1"
    cell = next(csv.reader(io.StringIO(line_of([(text, False)]), newline="")))[0]
    assert cell == f"'{text}" == harmless(text)
    assert cell.removeprefix("'") == text


@pytest.mark.parametrize("text", ['a";=1', "a,=1", "a\n=1", "a\t=1", '"=1"'])
def test_a_formula_behind_a_quote_or_a_separator_stays_inside_its_cell(text):
    line = line_of([(text, False), ("x", False)])
    assert next(csv.reader(io.StringIO(line, newline=""))) == [text, "x"]
    assert next(csv.reader(io.StringIO(line, newline=""), delimiter=";"))[0].startswith(text[:1])


def test_a_negative_number_stays_a_number_and_what_was_not_measured_stays_empty():
    assert line_of([("-1.5", True), (None, True), ("", False)]) == '-1.5,,""\r\n'


def test_the_formula_that_somebody_wrote_in_a_note_is_no_formula_in_the_export(farms):
    notes = [line["note"] for line in csv.DictReader(io.StringIO(archive_of(farms).read("block.csv").decode()))]
    assert f"'{FORMULA}" in notes and FORMULA not in notes
