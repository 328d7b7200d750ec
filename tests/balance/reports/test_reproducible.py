"""The same records give the same report, byte for byte; nothing of the hour or the process gets into a file."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.db import transaction

from balance.models import ReportFile
from balance.reports import making
from balance.reports.reading import Moment, this_moment
from balance.reports.rendering import FORMS
from records.access import open_for_work
from tests.balance.reports.test_made import weigh

ROOT = Path(__file__).resolve().parents[3]
ELSEWHERE = {"PYTHONHASHSEED": "77", "TZ": "Pacific/Auckland", "LC_ALL": "C", "HOME": "/nonexistent"}
RENDERS = """
import hashlib, json, sys
import django
django.setup()
from balance.reports.rendering import FORMS
document = json.load(sys.stdin)
print(json.dumps({form: hashlib.sha256(each.render(document)).hexdigest() for form, each in FORMS.items()}))
"""


@pytest.fixture
def weighed(desk: Any) -> Any:
    for place in range(1, 9):
        weigh(desk, place, 1 + place / 4)
    return desk


def digests(document: dict[str, Any]) -> dict[str, str]:
    return {form: hashlib.sha256(each.render(document)).hexdigest() for form, each in FORMS.items()}


def kept(desk: Any, report: dict[str, Any]) -> dict[str, str]:
    with transaction.atomic():
        open_for_work(desk.cast.farm.pk)
        files = ReportFile.objects.for_farm(desk.cast.farm).filter(report_id=report["id"])
        return dict(files.values_list("form", "sha256"))


def test_one_document_gives_the_same_bytes_of_every_form_at_any_hour_and_in_any_process(weighed):
    report = weighed.made()
    document = weighed.document(report)
    first = digests(document)
    assert first == kept(weighed, report)
    with time_machine.travel(datetime(2031, 3, 4, 5, 6, 7, tzinfo=UTC)):
        assert digests(document) == first
    other = subprocess.run(
        [sys.executable, "-c", RENDERS], cwd=ROOT, env={**os.environ, **ELSEWHERE}, input=json.dumps(document),
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert other.returncode == 0, other.stderr
    assert json.loads(other.stdout) == first


def test_the_same_records_at_the_same_moment_give_the_same_report(weighed, monkeypatch):
    """Two jobs with everything of their own but the clock: what they say and every file is equal."""
    moment = datetime(2027, 12, 1, 6, 30, tzinfo=UTC)

    @contextmanager
    def at_the_same_moment() -> Iterator[Moment]:
        with this_moment() as now:
            yield replace(now, taken_at=moment)

    monkeypatch.setattr(making, "this_moment", at_the_same_moment)
    first, second = weighed.made(), weighed.made()
    assert first["id"] != second["id"]
    assert first["check_code"] == second["check_code"]
    assert weighed.document(first) == weighed.document(second)
    assert kept(weighed, first) == kept(weighed, second)
    assert set(kept(weighed, first)) == set(FORMS)


def test_two_reports_at_two_moments_differ_in_the_moment_and_in_nothing_else(weighed):
    first = weighed.document(weighed.made())
    with time_machine.travel(datetime.now(tz=UTC) + timedelta(days=3)):  # the process's clock is not the moment
        second = weighed.document(weighed.made())
    bare = [{**document, "taken_at": "", "check_code": ""} for document in (first, second)]
    assert bare[0] == bare[1]
