"""The command that tries all that benchmarks ever told: silent where nobody is seen through, loud where somebody is."""

from __future__ import annotations

import io
import uuid

import orjson
import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from django.utils import timezone

from balance.benchmarks.auditing import windows
from balance.benchmarks.brought import Brought, told_apart
from balance.benchmarks.deciding import Decided, decide
from balance.benchmarks.keeping import keep
from balance.benchmarks.models import BenchmarkCell, BenchmarkSnapshot
from records.context import set_context
from records.models import Consent, Farm, Person, Program
from tests.balance.benchmarks.sixty import world

pytestmark = pytest.mark.django_db


@pytest.fixture
def program(catalogue):
    return Program.objects.create(name="Harrow Vale Growers (invented)")


@pytest.fixture
def brought():
    return told_apart(world(3, farms=16), "first")


@pytest.fixture
def consents(program, brought):
    """Make the farms that the parts belong to, and their consents."""
    owner = Person.objects.create_user("owner@harrow-vale.example", "Owner (invented)")
    found = {}
    for each in brought:
        with transaction.atomic():
            set_context(farms=[each.farm])
            farm = Farm.objects.create(
                id=each.farm, name=f"Farm {each.farm}", hemisphere="north", time_zone="America/New_York"
            )
            found[each.farm] = Consent.objects.create(
                farm=farm, purpose="benchmarks", program=program, rights=[], text_version="benchmarks@1", given_by=owner
            )
    return found


def published(program, brought, consents, cells, number=1) -> BenchmarkSnapshot:
    """Keep a snapshot as a worker would."""
    row = BenchmarkSnapshot.objects.create(
        program=program, season=2030, state="succeeded", number=number, taken_at=timezone.now()
    )
    with transaction.atomic():
        set_context(farms=[each.farm for each in brought])
        keep(row.pk, cells, brought, consents)
        set_context(farms=None)
    return row


def audited(*arguments):
    """Run the command; gives its exit code and the lines that it printed."""
    out = io.StringIO()
    try:
        call_command("audit_benchmarks", "--json", *arguments, stdout=out)
    except CommandError as error:
        return error.returncode, [orjson.loads(line) for line in out.getvalue().splitlines()]
    return 0, [orjson.loads(line) for line in out.getvalue().splitlines()]


def all_told(brought: tuple[Brought, ...]) -> tuple[Decided, ...]:
    """Tell every cell, whatever the rules say."""
    return tuple(
        Decided(cell.measure, cell.place, cell.mean or 1.0, cell.spread, cell.growers or "5-9", "", "", "")
        for cell in decide(2030, brought, [])
    )


def test_what_was_decided_by_the_rules_is_found_safe(program, brought, consents):
    published(program, brought, consents, decide(2030, brought, []))
    code, lines = audited()
    assert code == 0
    assert [line["measure"] for line in lines] == ["pruning_weight", "kept", "crop_load"]
    assert all(line["findings"] == [] and line["told"] > 0 for line in lines)


def test_two_snapshots_that_differ_by_one_farm_are_found_with_exit_code_1_and_the_farm_named(
    program, brought, consents
):
    first = decide(2030, brought, [])
    published(program, brought, consents, first)
    less = brought[1:]
    published(program, less, consents, all_told(less), number=2)
    code, lines = audited("--program", program.name)
    assert code == 1
    found = [finding for line in lines for finding in line["findings"]]
    assert any(finding.startswith("exposed") and str(brought[0].farm) in finding for finding in found)
    assert all("season 2030 snapshot" in finding for finding in found)


def test_what_is_not_shown_any_more_was_seen_and_is_tried_too(program, brought, consents):
    published(program, brought, consents, decide(2030, brought, []))
    with transaction.atomic():
        set_context(farms=[brought[0].farm])
        Consent.objects.for_farm(brought[0].farm).update(withdrawn_at=timezone.now(), withdrawn_by=Person.objects.get())
    assert BenchmarkCell.objects.filter(holds_until__isnull=False).exists()
    less = brought[1:]
    published(program, less, consents, all_told(less), number=2)
    assert audited()[0] == 1


def test_a_program_that_there_is_not_is_refused_and_nothing_made_is_nothing_found(program):
    assert audited() == (0, [])
    with pytest.raises(CommandError, match="There is no program"):
        call_command("audit_benchmarks", "--program", str(uuid.uuid4()))


def test_seasons_are_tried_beside_those_before_and_after(program):
    assert windows([2026, 2027, 2028, 2029, 2033]) == [(2026, 2027, 2028), (2027, 2028, 2029), (2033,)]
