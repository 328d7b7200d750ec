"""The stack that the tests run on, and the cast of people who appear in them.

The same six people play in every test: Ines owns a farm, Tomas works there, Ada may look, Mira advises by
Ines's consent, Jon leads the program, and Rhea owns another farm and must never see anything of the first.  All
invented.
"""

from __future__ import annotations

import os
import secrets
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import django
import pytest

ROOT = Path(__file__).resolve().parent.parent
_running: list[Any] = []


@pytest.hookimpl(tryfirst=True)
def pytest_configure(config: pytest.Config) -> None:
    """Bring up PostgreSQL and Valkey before Django reads its settings; servers of yours are used if named."""
    if _only_hands_out(config):
        if "DATABASE_URL" in os.environ:
            raise pytest.UsageError("Servers of yours serve one process of tests: add -n 0, or unset DATABASE_URL.")
        return
    os.environ["DJANGO_SETTINGS_MODULE"] = "vineyard.settings"
    os.environ.setdefault("SECRET_KEY", secrets.token_urlsafe(48))
    if "DATABASE_URL" not in os.environ and not config.option.help:
        _bring_up()
    django.setup()


def _only_hands_out(config: pytest.Config) -> bool:
    """Tell whether this process gives the tests to others; each of those has servers of its own."""
    return bool(config.option.numprocesses) and not hasattr(config, "workerinput")


def _bring_up() -> None:
    from tests.prepared import alone, give_tables, stands_at_another_state
    from vineyard.stack import Stack, StackBusy  # not before the environment is set

    stack = Stack(ROOT / ".stack" / "test", fast=True)
    try:
        with alone("test"):  # between the look and the start nobody else takes the folder
            stack.start()
            if stands_at_another_state(stack.base):
                stack.stop()
                give_tables(stack.base)
                stack.start()
    except StackBusy:  # another run of the tests: this one gets a stack of its own
        private = Path(tempfile.mkdtemp(prefix="vineyard-test-"))
        private.chmod(0o755)
        give_tables(private)
        stack = Stack(private, fast=True).start()
    _running.append(stack)
    os.environ.update(stack.environment())


def pytest_unconfigure(config: pytest.Config) -> None:
    for stack in _running:
        stack.stop()
        if stack.base.name.startswith("vineyard-test-"):
            shutil.rmtree(stack.base, ignore_errors=True)


@pytest.fixture(scope="session")
def django_db_setup(django_db_blocker: Any) -> Iterator[None]:
    """Make the test database as the owner of the tables; the tests themselves run as the serving role."""
    from django.db import connection

    from vineyard.database_owner import as_owner

    with django_db_blocker.unblock():
        with as_owner() as owner:
            name = owner.settings_dict["NAME"]
            if _running:
                _copy_tables(owner)
            owner.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False, keepdb=bool(_running))
            role = owner.ops.quote_name(os.environ["DATABASE_URL"].split("//")[1].split("@")[0].split(":")[0])
            with owner.cursor() as cursor:  # transactional tests empty the tables; nobody else may
                cursor.execute(f"GRANT TRUNCATE ON ALL TABLES IN SCHEMA public TO {role}")
        _load_catalogues()  # once: a fifth of a second a test would be minutes
        yield
        with as_owner() as owner:
            owner.creation.destroy_test_db(name, verbosity=0)
        connection.close()


def _copy_tables(owner: Any) -> None:
    """Copy the prepared database, whose tables are made already, to where Django looks for that of the tests."""
    name, quoted = owner.creation._get_test_db_name(), owner.ops.quote_name
    with owner._nodb_cursor() as cursor:
        cursor.execute(f"DROP DATABASE IF EXISTS {quoted(name)} WITH (FORCE)")
        cursor.execute(f"CREATE DATABASE {quoted(name)} TEMPLATE {quoted(owner.settings_dict['NAME'])}")


@dataclass
class Player:
    """One person of the cast, with the key by which they call."""

    person: Any
    key_text: str
    client: Any = field(repr=False)

    @property
    def caller(self) -> Any:
        from records.access import Caller
        from records.services.keys import find_key

        key = find_key(self.key_text)
        assert key is not None
        return Caller.by_key(key)


@dataclass
class Cast:
    """The people, their two farms and the program."""

    owner: Player
    worker: Player
    viewer: Player
    adviser: Player
    lead: Player
    stranger: Player
    nobody: Any
    farm: Any
    other_farm: Any
    program: Any


@pytest.fixture
def catalogue(db: None) -> None:
    """Cultivars and formulas, as the files in fixtures/ give them; loaded anew after a test that emptied the tables."""
    have_catalogues()


def have_catalogues() -> None:
    from records.models import PruningFormula

    if not PruningFormula.objects.exists():
        _load_catalogues()


def _load_catalogues() -> None:
    from records.services.catalogue import load_catalogues

    load_catalogues(ROOT / "fixtures" / "catalogue")


@pytest.fixture
def cast(catalogue: None) -> Cast:
    return make_cast()


def make_cast() -> Cast:
    from django.db import transaction
    from rest_framework.test import APIClient

    from records.models import Program, ProgramMembership

    with transaction.atomic():  # the context that lets a farm be written ends with its transaction
        people = {name: _player(name) for name in ("owner", "worker", "viewer", "adviser", "lead", "stranger")}
        program = Program.objects.create(name="Harrow Vale Growers (invented)", region="Harrow Vale (invented)")
        ProgramMembership.objects.create(program=program, person=people["lead"].person)
        farm = _farm("Tern Hill Vineyard (invented)", people["owner"], program)
        _let_in(farm, people)
        other_farm = _farm("Quarry Bend Farm (invented)", people["stranger"], None)
        leave_farms()
    return Cast(**people, nobody=APIClient(), farm=farm, other_farm=other_farm, program=program)


def _let_in(farm: Any, people: dict[str, Player]) -> None:
    """Give worker and viewer their roles, and the adviser the owner's consent."""
    from django.db import transaction

    from records.access import enter, open_farm
    from records.models import Role
    from records.services.consents import Adviser, Asked, give_consent
    from records.services.farms import set_role

    with transaction.atomic():
        enter(people["owner"].caller)
        opened = open_farm(people["owner"].caller, farm.pk)
        for name in ("worker", "viewer"):
            set_role(farm, people[name].person, Role(name))
        person = people["adviser"].person
        adviser = Adviser(person.email, person.name)
        give_consent(
            opened, None, Asked(purpose="advice", text_version="advice@1", adviser=adviser, rights=("read", "record"))
        )


def leave_farms() -> None:
    """Close every farm to the test's own transaction, as at the start of a request."""
    from django.db import connection, transaction

    from records.context import set_context

    if connection.in_atomic_block:
        set_context(farms=None, person=None, key=None)
        return
    with transaction.atomic():
        set_context(farms=None, person=None, key=None)


def _player(name: str) -> Player:
    from rest_framework.test import APIClient

    from records.models import Person
    from records.services.keys import make_key

    names = {
        "owner": "Ines Falk",
        "worker": "Tomas Reed",
        "viewer": "Ada Lund",
        "adviser": "Mira Osei",
        "lead": "Jon Calder",
        "stranger": "Rhea Stone",
    }
    person = Person.objects.create_user(f"{name}@harrow-vale.example", names[name])
    _, text = make_key(
        person, label=f"test key of the {name}", scopes=["read", "record", "manage"], app_name="test app"
    )
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {text}")
    return Player(person, text, client)


def _farm(name: str, owner: Player, program: Any) -> Any:
    from django.db import transaction

    from records.access import enter
    from records.services.farms import create_farm

    with transaction.atomic():
        enter(owner.caller)
        columns = {"name": name, "hemisphere": "north", "time_zone": "America/New_York", "program": program}
        farm, _ = create_farm(owner.caller, None, columns)
    return farm


@pytest.fixture
def desk(transactional_db: None, cast: Cast) -> Any:
    """Whoever asks for reports of a farm with one block and its vines."""
    from django.db import transaction

    from tests.balance.reports.report_desk import Desk
    from tests.records.yard import Yard

    with transaction.atomic():
        yard = Yard(cast)
    return Desk(yard, cast)
