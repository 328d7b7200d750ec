"""Signing in: told to nobody whether a person exists, slow to guess at, and worth nothing to the API itself."""

from __future__ import annotations

import re
import secrets
from datetime import timedelta
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth import hashers
from django.test import Client
from django.utils import timezone

from records.models import ApiKey, Person
from vineyard.accounts.views import LABEL

pytestmark = pytest.mark.django_db

PASSWORD = "walnut-ladder-ninety"


@pytest.fixture
def grower(cast: Any) -> Person:
    """Ines, who owns a farm, with a password."""
    person: Person = cast.owner.person
    person.set_password(PASSWORD)
    person.save()
    return person


@pytest.fixture
def address() -> str:
    """Give an address that no other test has used up; nothing is ever sent there."""
    return f"10.{secrets.randbelow(256)}.{secrets.randbelow(256)}.{secrets.randbelow(256)}"


@pytest.fixture
def browser() -> Client:
    """A browser, which must send the forms' tokens."""
    return Client(enforce_csrf_checks=True)


def most_attempts(name: str) -> int:
    limit = settings.RATE_LIMITS[name]
    assert limit is not None
    return limit.amount


def token_of(page: Any) -> str:
    found = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page.content.decode())
    assert found
    return found[1]


def sign_in(browser: Client, email: str, password: str, address: str = "127.0.0.1", **more: str) -> Any:
    token = token_of(browser.get("/login"))
    body = {"username": email, "password": password, "csrfmiddlewaretoken": token, **more}
    return browser.post("/login", body, REMOTE_ADDR=address)


def test_the_right_password_signs_in_and_leads_to_the_documentation(browser, grower, address):
    answer = sign_in(browser, grower.email, PASSWORD, address)
    assert (answer.status_code, answer.headers["Location"]) == (302, "/docs")
    assert f"Signed in as <strong>{grower.name}" in browser.get("/docs").content.decode()


@pytest.mark.parametrize("elsewhere", ["https://evil.example/", "//evil.example", "javascript:alert(1)"])
def test_signing_in_leads_to_no_other_site(elsewhere, browser, grower, address):
    assert sign_in(browser, grower.email, PASSWORD, address, next=elsewhere).headers["Location"] == "/docs"


def _refused(browser: Client, email: str, password: str, address: str) -> tuple[int, str, dict[str, str]]:
    answer = sign_in(browser, email, password, address)
    body = answer.content.decode().replace(token_of(answer), "TOKEN")
    headers = {name: value for name, value in answer.headers.items() if name not in {"X-Request-ID", "Expires"}}
    return answer.status_code, body, headers


def test_a_wrong_password_an_unknown_and_an_inactive_person_and_one_without_a_password_are_answered_alike(
    browser, grower, cast, address
):
    cast.worker.person.set_password(PASSWORD)
    cast.worker.person.is_active = False
    cast.worker.person.save()
    answers = [
        _refused(browser, grower.email, "wrong", address),
        _refused(browser, "nobody@harrow-vale.example", "wrong", address),
        _refused(browser, cast.worker.person.email, PASSWORD, address),
        _refused(browser, cast.viewer.person.email, "wrong", address),
    ]
    assert answers[0][0] == 401
    assert all(answer == answers[0] for answer in answers)


def test_each_of_them_costs_one_slow_hash(browser, grower, cast, address, monkeypatch):
    """Equal work is what makes equal time; it is counted, because a clock would tell nothing on a busy machine."""
    cast.worker.person.set_password(PASSWORD)
    cast.worker.person.is_active = False
    cast.worker.person.save()
    hashed: list[str] = []
    hasher = type(hashers.get_hasher())
    slow = hasher.encode

    def counting(self: Any, password: str, *args: Any, **kwargs: Any) -> str:
        hashed.append(password)
        return slow(self, password, *args, **kwargs)

    monkeypatch.setattr(hasher, "encode", counting)
    work = []
    for email in (grower.email, "nobody@harrow-vale.example", cast.worker.person.email, cast.viewer.person.email):
        hashed.clear()
        sign_in(browser, email, "wrong", address)
        work.append(len(hashed))
    assert work == [1, 1, 1, 1]


@pytest.mark.parametrize("exists", [True, False])
def test_guessing_at_one_account_is_held_up_from_whatever_address_and_whether_or_not_it_exists(exists, browser, cast):
    email = f"{secrets.token_hex(8)}@harrow-vale.example"
    if exists:
        Person.objects.create_user(email, "Somebody", PASSWORD)
    most = most_attempts("login_account")
    statuses = []
    for number in range(most + 2):
        answer = sign_in(browser, email.upper() if number % 2 else email, "", f"10.9.{secrets.randbelow(256)}.{number}")
        statuses.append(answer.status_code)
    assert statuses == [401] * most + [429, 429]
    assert int(answer.headers["Retry-After"]) > 0
    assert answer.headers["Content-Type"].startswith("text/html")


def test_a_hundred_wrong_passwords_from_one_address_are_held_up_whatever_the_accounts(browser, cast, address):
    most = most_attempts("login_address")
    token = token_of(browser.get("/login"))
    statuses = [
        browser.post(
            "/login",
            {"username": f"{number}-{secrets.token_hex(4)}@x.example", "password": "", "csrfmiddlewaretoken": token},
            REMOTE_ADDR=address,
        ).status_code
        for number in range(most + 1)
    ]
    assert statuses[:most] == [401] * most
    assert statuses[most] == 429


def test_the_right_password_does_not_help_while_the_account_is_held_up(browser, grower):
    email = f"{secrets.token_hex(8)}@harrow-vale.example"
    Person.objects.create_user(email, "Somebody", PASSWORD)
    for number in range(most_attempts("login_account")):
        sign_in(browser, email, "", f"10.8.{secrets.randbelow(256)}.{number}")
    assert sign_in(browser, email, PASSWORD, "10.8.0.200").status_code == 429


def test_a_fresh_installation_has_nobody_and_the_usual_pairs_open_nothing(browser, db):
    assert not Person.objects.exists()
    for pair in ("admin", "root", "vineyard", "postgres", "test"):
        address = f"10.7.{secrets.randbelow(256)}.{secrets.randbelow(256)}"
        email = f"{pair}-{secrets.token_hex(2)}@localhost"
        assert sign_in(browser, email, pair, address).status_code == 401


@pytest.mark.parametrize("path", ["/login", "/logout", "/docs/key"])
def test_a_form_from_another_site_is_refused(path, browser, grower, address):
    sign_in(browser, grower.email, PASSWORD, address)
    assert browser.post(path, {"may": "all", "username": "a", "password": "b"}).status_code == 403
    assert not ApiKey.objects.filter(label=LABEL).exists()


def ask_for_key(browser: Client, may: str = "read") -> Any:
    token = token_of(browser.get("/docs"))
    return browser.post("/docs/key", {"may": may, "csrfmiddlewaretoken": token})


def test_the_api_takes_no_session(browser, grower, address):
    sign_in(browser, grower.email, PASSWORD, address)
    assert browser.get("/api/v1/me").status_code == 401


def test_a_signed_in_person_gets_a_key_for_an_hour_that_may_no_more_than_was_asked_for(browser, grower, cast, address):
    sign_in(browser, grower.email, PASSWORD, address)
    told = ask_for_key(browser).json()
    called = browser.get("/api/v1/me", headers={"Authorization": f"Bearer {told['key']}"}).json()
    assert (called["name"], called["scopes"]) == (grower.name, ["read"])
    key = ApiKey.objects.get(label=LABEL)
    assert key.expires_at < timezone.now() + timedelta(minutes=61)
    assert ask_for_key(browser, "all").json()["scopes"] == ["manage", "read", "record"]
    assert ask_for_key(browser, "fly").status_code == 400


def test_there_is_one_such_key_a_person_and_none_once_they_signed_out(browser, grower, address):
    sign_in(browser, grower.email, PASSWORD, address)
    first, second = (ask_for_key(browser).json()["key"] for _ in range(2))
    statuses = [
        browser.get("/api/v1/me", headers={"Authorization": f"Bearer {text}"}).status_code for text in (first, second)
    ]
    assert statuses == [401, 200]
    token = token_of(browser.get("/docs"))
    assert browser.post("/logout", {"csrfmiddlewaretoken": token}).headers["Location"] == "/login"
    assert browser.get("/api/v1/me", headers={"Authorization": f"Bearer {second}"}).status_code == 401
    assert ask_for_key_status(browser) == 401


def ask_for_key_status(browser: Client) -> int:
    status: int = browser.post("/docs/key", {"csrfmiddlewaretoken": token_of(browser.get("/login"))}).status_code
    return status


def test_nobody_signs_out_by_following_a_link(browser, grower, address):
    sign_in(browser, grower.email, PASSWORD, address)
    assert browser.get("/logout").status_code == 405
    assert "Signed in as" in browser.get("/docs").content.decode()


def test_a_new_password_ends_every_session(browser, grower, address):
    sign_in(browser, grower.email, PASSWORD, address)
    grower.set_password("another-walnut-ladder")
    grower.save()
    assert "Signed in as" not in browser.get("/docs").content.decode()


def test_the_session_is_kept_from_scripts_and_from_other_sites(browser, grower, address):
    cookie = sign_in(browser, grower.email, PASSWORD, address).cookies[settings.SESSION_COOKIE_NAME]
    assert (cookie["httponly"], cookie["samesite"]) == (True, "Lax")


@pytest.mark.parametrize("path", ["/login", "/admin/", "/admin/nothing-here", "/logout"])
def test_pages_for_people_load_from_here_alone_and_refuse_as_pages(path, client):
    answer = client.get(path, follow=True)
    assert "default-src 'self'" in answer.headers["Content-Security-Policy"]
    assert "http" not in answer.headers["Content-Security-Policy"]
    assert answer.headers["Content-Type"].startswith("text/html")


def test_the_documentation_answers_while_sessions_cannot_be_read(browser, grower, address, monkeypatch):
    from django.contrib.sessions.backends.db import SessionStore
    from django.db import OperationalError

    sign_in(browser, grower.email, PASSWORD, address)

    def away(self: Any) -> None:
        raise OperationalError("host 10.0.0.5 said no")

    monkeypatch.setattr(SessionStore, "load", away)
    answer = browser.get("/docs")
    assert (answer.status_code, "sign in" in answer.content.decode()) == (200, True)
