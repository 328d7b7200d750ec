"""The staff's pages: for staff alone, showing no secret and opening no farm."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import URLPattern, URLResolver, get_resolver
from django.utils import timezone

from records.access import enter, open_farm
from records.context import set_context
from records.models import ApiKey, Person, Program, ProgramMembership, RegisteredFarm
from records.services.keys import make_key
from records.services.vineyards import create_block
from vineyard.staff.site import site

pytestmark = pytest.mark.django_db

CANARY = "Canary-of-the-farm"
FORMER = "f" * 64


@pytest.fixture
def staff(cast: Any) -> Client:
    """Nora, of the program's staff, signed in; Ines's farm holds a canary, and each of the cast is there."""
    enter(cast.owner.caller)
    create_block(open_farm(cast.owner.caller, cast.farm.pk), None, {"name": CANARY, "note": CANARY})
    assert cast.owner.client.post(f"/api/v1/farms/{cast.farm.pk}/exports").status_code == 202
    client = Client()
    client.force_login(Person.objects.create_user("nora@harrow-vale.example", "Nora Quill", is_staff=True))
    return client


def addresses(cast: Any) -> Iterator[str]:
    """Give an address for every page of the site, from its own patterns."""
    ids = {
        "person": cast.owner.person.pk,
        "apikey": ApiKey.objects.first().pk,  # type: ignore[union-attr]
        "program": cast.program.pk,
        "programmembership": ProgramMembership.objects.get().pk,
        "registeredfarm": cast.farm.pk,
    }
    for route in _routes(get_resolver().url_patterns, ""):
        model = route.split("/")[2] if route.count("/") > 2 else ""
        yield "/" + route.replace("<path:object_id>", str(ids.get(model, uuid.uuid4())))


def _routes(patterns: list[URLPattern | URLResolver], before: str) -> Iterator[str]:
    for pattern in patterns:
        route = before + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from _routes(pattern.url_patterns, route)
        elif route.startswith("admin/") and "(?P" not in route and "content_type_id" not in route:
            yield route


def test_every_page_sends_everybody_but_staff_to_sign_in(staff, cast):
    pages = [page for page in addresses(cast) if not page.endswith(("/login/", "/logout/"))]
    assert len(pages) > 30
    owner, lead = Client(), Client()
    owner.force_login(cast.owner.person)
    lead.force_login(cast.lead.person)
    for page in pages:
        for ask in (owner.get, owner.post, lead.get, lead.post, Client().get):
            answer = ask(page)
            where = answer.headers["Location"].split("?")[0]
            assert (answer.status_code, where in {"/login", "/admin/login/"}) == (302, True), page
    assert owner.get("/admin/login/?next=/admin/").headers["Location"] == "/login?next=/admin/"


def test_staff_see_every_page_and_on_none_of_them_anything_of_a_farm(staff, cast):
    for page in addresses(cast):
        answer = staff.get(page, follow=True)
        assert answer.status_code in {200, 403, 405}, (
            page,
            answer.status_code,
        )  # 403: nothing is added or removed there
        assert CANARY not in answer.content.decode(), page
        assert cast.farm.region == "" or cast.farm.region not in answer.content.decode()


def test_no_page_shows_a_keys_secret_or_its_hash(staff, cast):
    key, text = make_key(cast.owner.person, label="a key", scopes=["read"])
    ApiKey.objects.filter(pk=key.pk).update(former_secret_hash=FORMER, former_secret_until=timezone.now())
    for page in ("/admin/records/apikey/", f"/admin/records/apikey/{key.pk}/change/"):
        shown = staff.get(page).content.decode()
        assert key.prefix in shown
        assert all(secret not in shown for secret in (key.secret_hash, FORMER, text))


def test_a_key_that_staff_take_back_opens_nothing_from_the_next_request_on(staff, cast):
    key = cast.owner.caller.key
    body = {"action": "take_back", "_selected_action": [str(key.pk)]}
    assert staff.post("/admin/records/apikey/", body).status_code == 302
    assert cast.owner.client.get("/api/v1/me").status_code == 401
    assert cast.worker.client.get("/api/v1/me").status_code == 200


def test_the_register_shows_names_and_programs_and_no_other_column_exists_to_be_shown(staff, cast):
    shown = staff.get("/admin/records/registeredfarm/").content.decode()
    assert cast.farm.name in shown and cast.other_farm.name in shown and cast.program.name in shown
    with connection.cursor() as cursor:
        cursor.execute("SELECT column_name FROM information_schema.columns WHERE table_name = 'farm_register'")
        assert {name for (name,) in cursor.fetchall()} == {"id", "name", "program_id"}


def test_the_database_shows_the_register_to_staff_who_ask_for_it_and_to_nobody_else(cast):
    nora = Person.objects.create_user("nora@harrow-vale.example", "Nora Quill", is_staff=True)
    left = Person.objects.create_user("left@harrow-vale.example", "Left", is_staff=True, is_active=False)
    for person, register, seen in (
        (nora, "on", 2), (nora, None, 0), (left, "on", 0), (cast.lead.person, "on", 0), (cast.owner.person, "on", 0),
    ):  # fmt: skip
        set_context(person=person.pk, register=register, farms=None)
        assert RegisteredFarm.objects.count() == seen


def test_the_register_opens_no_farm_to_the_serving_role(cast):
    """Only the view reads past row-level security, and only three columns: the tables stay shut."""
    nora = Person.objects.create_user("nora@harrow-vale.example", "Nora Quill", is_staff=True)
    set_context(person=nora.pk, register="on", farms=None)
    with connection.cursor() as cursor:
        for table in ("farm", "block", "membership", "job", "record_change"):
            cursor.execute(f"SELECT count(*) FROM {table}")
            assert cursor.fetchone() == (0,), table


def test_unfinished_jobs_are_seen_by_their_tickets(staff, cast):
    shown = staff.get("/admin/records/jobticket/").content.decode()
    assert str(cast.farm.pk) in shown and "waits for a worker" in shown


@pytest.mark.parametrize("model", ["person", "apikey", "program", "programmembership", "registeredfarm", "jobticket"])
def test_a_list_asks_no_more_of_the_database_for_many_rows_than_for_few(model, staff, cast):
    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert staff.get(f"/admin/records/{model}/").status_code == 200
        return len(captured)

    queries()
    few = queries()
    for number in range(10):
        person = Person.objects.create_user(f"{number}@many.example", f"Person {number}")
        make_key(person, label="one of many", scopes=["read"])
        program = Program.objects.create(name=f"Program {number} (invented)")
        ProgramMembership.objects.create(program=program, person=person)
    assert queries() == few


def test_staff_make_people_but_set_nobodys_password_who_is_there(staff, cast):
    body = {"name": "New Person", "email": "new@harrow-vale.example", "usable_password": "false"}
    assert staff.post("/admin/records/person/add/", body).status_code == 302
    made = Person.objects.get(email="new@harrow-vale.example")
    assert not made.has_usable_password()
    change = staff.get(f"/admin/records/person/{cast.owner.person.pk}/change/").content.decode()
    assert 'type="password"' not in change
    sent = {
        "name": "Ines Falk",
        "email": cast.owner.person.email,
        "is_active": "on",
        "password": "x",
        "password1": "taken-over-by-staff",
        "password2": "taken-over-by-staff",
    }
    staff.post(f"/admin/records/person/{cast.owner.person.pk}/change/", sent)
    cast.owner.person.refresh_from_db()
    assert not cast.owner.person.has_usable_password()


def test_a_weak_password_of_a_new_person_is_refused_with_its_reason(staff):
    body = {
        "name": "New Person",
        "email": "new@harrow-vale.example",
        "usable_password": "true",
        "password1": "vineyard",
        "password2": "vineyard",
    }
    answer = staff.post("/admin/records/person/add/", body)
    assert (answer.status_code, "at least 12 characters" in answer.content.decode()) == (200, True)


def test_staff_change_their_own_password(staff):
    nora = Person.objects.get(email="nora@harrow-vale.example")
    nora.set_password("walnut-ladder-ninety")
    nora.save()
    staff.force_login(nora)
    body = {
        "old_password": "walnut-ladder-ninety",
        "new_password1": "quarry-bend-seventy",
        "new_password2": "quarry-bend-seventy",
    }
    assert staff.post("/admin/password_change/", body).status_code == 302
    nora.refresh_from_db()
    assert nora.check_password("quarry-bend-seventy")


def test_nobody_takes_the_staffs_pages_from_themselves(staff):
    nora = Person.objects.get(email="nora@harrow-vale.example")
    staff.post(f"/admin/records/person/{nora.pk}/change/", {"name": "Nora Quill", "email": nora.email})
    nora.refresh_from_db()
    assert nora.is_active and nora.is_staff


def test_no_table_of_a_farm_has_a_page():
    assert {model.__name__ for model in site._registry} == {
        "Person", "ApiKey", "Program", "ProgramMembership", "RegisteredFarm", "JobTicket", "Erasure",
    }  # fmt: skip


def test_a_page_that_is_not_there_is_refused_as_a_page(staff):
    answer = staff.get("/admin/nothing-here")
    assert (answer.status_code, answer.headers["Content-Type"]) == (404, "text/html; charset=utf-8")
