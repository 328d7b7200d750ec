"""Signing in to the board: the key is typed once, and stands in no page, address or log; what ends, ends at once."""

from __future__ import annotations

import json
import logging
import time
from typing import Any

import pytest
import time_machine
from django.core import signing
from django.db import connection
from django.test import Client

from records.models import ApiKey
from tests.records.yard import Yard
from tests.vineyard.board.boarding import Visitor, loaded, same_application, words
from vineyard.board.keeping import GOOD_FOR_SECONDS, Kept

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("same_application")]
__all__ = ["loaded", "same_application"]


@pytest.fixture
def yard(cast) -> Yard:
    return Yard(cast)


def signed_in(key: str) -> Visitor:
    visitor = Visitor()
    answer = visitor.sign_in(key)
    assert (answer.status_code, answer.headers["Location"]) == (302, "/board")
    return visitor


def kept(visitor: Visitor) -> dict[str, Any]:
    told: dict[str, Any] = signing.loads(visitor.client.cookies["board"].value, salt="vineyard.board")
    return told


def test_a_stranger_is_led_to_the_form_and_back_to_where_they_wanted_to_go(cast):
    visitor, wanted = Visitor(), f"/board/farms/{cast.farm.pk}?season=2027"
    asked = visitor.get(wanted)
    assert asked.status_code == 302
    assert asked.headers["Location"].startswith("/board/sign-in?")
    form = visitor.get(asked.headers["Location"])
    assert f'name="next" value="{wanted}"' in form.content.decode()
    assert visitor.sign_in(cast.adviser.key_text, next=wanted).headers["Location"] == wanted


@pytest.mark.parametrize(
    "elsewhere",
    ["https://example.org/board", "//example.org/board", "/login", "/boards", "javascript:1", "/board\\@x", ""],
)
def test_nobody_is_led_anywhere_but_to_the_board(cast, elsewhere):
    answer = Visitor().sign_in(cast.adviser.key_text, next=elsewhere)
    assert answer.headers["Location"].startswith("/board")
    assert "example.org" not in answer.headers["Location"]


@pytest.mark.parametrize("key", ["", "vine_wrong", "vine_abc\r\nX-More: 1", "\u00e9\u00e9", "x" * 300, "vine_ab cd"])
def test_a_wrong_key_is_refused_with_the_same_sentence_and_is_shown_to_nobody(cast, key):
    answer = Visitor().sign_in(key)
    assert answer.status_code == 401
    assert "No key in force reads like this" in words(answer)
    assert "board" not in answer.cookies
    if key:
        assert key not in answer.content.decode()


def test_the_cookie_is_for_the_board_alone_and_no_script_or_other_site_gets_it(cast):
    cookie = signed_in(cast.adviser.key_text).client.cookies["board"]
    assert (cookie["path"], cookie["httponly"], cookie["samesite"]) == ("/board", True, "Strict")
    assert cookie["max-age"] == GOOD_FOR_SECONDS
    assert not cookie["secure"]  # http://localhost; with https it is: see below


def test_where_the_service_is_reached_by_https_so_is_the_cookie(settings):
    from django.http import HttpResponse

    from vineyard.board import keeping

    settings.CSRF_COOKIE_SECURE = True
    response = HttpResponse()
    keeping.keep(response, Kept("vine_x"))
    assert response.cookies[keeping.NAME]["secure"]


def test_of_a_key_that_may_make_keys_the_board_keeps_one_that_only_reads_and_ends_today(cast):
    visitor = signed_in(cast.owner.key_text)
    told = kept(visitor)
    assert told["secret"] != cast.owner.key_text
    made = ApiKey.objects.get(pk=told["made"])
    assert (made.scopes, made.person) == (["read"], cast.owner.person)
    assert made.expires_at.timestamp() - time.time() <= GOOD_FOR_SECONDS
    assert cast.owner.key_text not in str(visitor.client.cookies)


def test_of_a_key_that_is_bound_to_farms_the_board_keeps_one_for_those_alone(cast):
    wanted = {"label": "office", "scopes": ["read", "manage"], "farms": [str(cast.farm.pk)]}
    bound = cast.owner.client.post("/api/v1/me/keys", wanted, format="json").json()
    visitor = signed_in(bound["secret"])
    told = kept(visitor)
    assert told["secret"] != bound["secret"]
    assert ApiKey.objects.get(pk=told["made"]).farm_ids == [cast.farm.pk]


def test_a_key_that_may_make_none_is_kept_itself_and_made_no_other(cast):
    wanted = {"label": "reads", "scopes": ["read"]}
    reads = cast.viewer.client.post("/api/v1/me/keys", wanted, format="json").json()["secret"]
    before = ApiKey.objects.count()
    assert kept(signed_in(reads))["secret"] == reads
    assert ApiKey.objects.count() == before


def test_signing_out_ends_the_key_that_was_made_and_forgets_it(cast):
    visitor = signed_in(cast.owner.key_text)
    told = kept(visitor)
    answer = visitor.post("/board/sign-out", {}, seen_at="/board")
    assert answer.headers["Location"] == "/board/sign-in?said=out"
    assert ApiKey.objects.get(pk=told["made"]).revoked_at is not None
    assert visitor.client.cookies["board"].value == ""
    assert visitor.get("/board").status_code == 302


def test_a_key_that_was_revoked_or_ran_out_leads_to_the_form_which_says_so(cast):
    visitor = signed_in(cast.viewer.key_text)
    ApiKey.objects.filter(person=cast.viewer.person).update(revoked_at="2026-01-01T00:00:00Z")
    answer = visitor.get("/board")
    assert answer.status_code == 302
    assert answer.headers["Location"].startswith("/board/sign-in?said=ended")
    assert "no longer opens anything" in words(visitor.get(answer.headers["Location"]))
    assert visitor.client.cookies["board"].value == ""


def test_a_cookie_is_good_for_a_working_day_whatever_the_browser_says(cast):
    visitor = signed_in(cast.viewer.key_text)
    sealed = visitor.client.cookies["board"].value
    with time_machine.travel(time.time() + GOOD_FOR_SECONDS + 60):
        visitor.client.cookies["board"] = sealed
        assert visitor.get("/board").status_code == 302


@pytest.mark.parametrize("told", [{"secret": "x", "more": 1}, ["x"], "x", {}, 7, None])
def test_a_cookie_that_was_made_elsewhere_or_otherwise_opens_nothing(told):
    for salt in ("vineyard.board", "another"):
        client = Client()
        client.cookies["board"] = signing.dumps(told, salt=salt)
        assert client.get("/board").status_code == 302
    client.cookies["board"] = "rubbish:not:signed"
    assert client.get("/board").status_code == 302


def test_a_form_without_its_token_is_refused_as_a_page(cast):
    client = Client(enforce_csrf_checks=True)
    for path in ("/board/sign-in", "/board/sign-out", "/board/units", f"/board/farms/{cast.farm.pk}/reports"):
        answer = client.post(path, {"key": cast.viewer.key_text})
        assert (answer.status_code, answer.headers["Content-Type"].split(";")[0]) == (403, "text/html")
        assert "board" not in answer.cookies


def test_whoever_is_signed_in_to_the_service_comes_in_without_a_key(cast):
    visitor = Visitor()
    assert visitor.post("/board/sign-in/as-myself", {}).headers["Location"].startswith("/login?next=%2Fboard")
    visitor.client.force_login(cast.viewer.person)
    answer = visitor.post("/board/sign-in/as-myself", {"next": f"/board/farms/{cast.farm.pk}"})
    assert answer.headers["Location"] == f"/board/farms/{cast.farm.pk}"
    assert cast.farm.name in words(visitor.page("/board"))


def test_a_consent_that_is_withdrawn_shuts_the_farm_at_the_next_page(cast, yard):
    visitor = signed_in(cast.adviser.key_text)
    block = f"/board/farms/{cast.farm.pk}/blocks/{yard.block.pk}"
    visitor.page(block)
    url = f"/api/v1/farms/{cast.farm.pk}/consents"
    consent = cast.owner.client.get(url).json()["results"][0]
    withdrawn = cast.owner.client.delete(f"{url}/{consent['id']}", headers={"If-Match": "*"})
    assert withdrawn.status_code == 200
    for path in (block, f"/board/farms/{cast.farm.pk}", f"{block}/vine-map.svg"):
        page = visitor.get(path)
        assert page.status_code == 404
        assert "nothing of yours" in words(page)
    assert "Lower Terrace" not in words(visitor.page("/board"))


def test_another_farm_and_no_farm_are_the_same_page(cast, yard):
    visitor = signed_in(cast.stranger.key_text)
    foreign, missing = (
        visitor.get(f"/board/farms/{farm}") for farm in (cast.farm.pk, "00000000-0000-4000-8000-000000000000")
    )
    assert foreign.status_code == missing.status_code == 404
    assert words(foreign) == words(missing)


def test_every_page_leaves_the_visit_that_its_calls_leave(cast, yard):
    visitor = signed_in(cast.adviser.key_text)
    visitor.page(f"/board/farms/{cast.farm.pk}/blocks/{yard.block.pk}")
    log = cast.owner.client.get(f"/api/v1/farms/{cast.farm.pk}/access-log").json()["results"]
    assert any(entry["path"].endswith("/vine-map") for entry in log), json.dumps(log[:2])
    assert not any(entry["path"].startswith("/board") for entry in log)


def test_the_limits_of_the_api_hold_for_the_calls_of_a_page(cast, settings, monkeypatch):
    from vineyard.limits.rates import Limit

    visitor = signed_in(cast.viewer.key_text)
    monkeypatch.setitem(settings.RATE_LIMITS, "key", Limit("key", 1, 60))
    refused = [visitor.get("/board") for _ in range(3)][-1]
    assert refused.status_code == 429
    assert "Retry-After" in refused.headers
    assert "Try again in" in words(refused)


def test_where_the_records_cannot_be_reached_the_page_says_so(cast, monkeypatch):
    from django.db import OperationalError

    visitor = signed_in(cast.viewer.key_text)
    monkeypatch.setattr("records.api.authentication.find_key", _away(OperationalError))
    page = visitor.get("/board")
    assert page.status_code == 503
    assert "<h1>" in page.content.decode()


def _away(error: type[Exception]) -> Any:
    def find_key(_: str) -> None:
        raise error

    return find_key


def test_the_key_stands_in_no_page_no_address_and_no_log(cast, yard, caplog, capfd):
    caplog.set_level(logging.DEBUG)
    secrets = [cast.owner.key_text]
    visitor = Visitor()
    answers = [visitor.get("/board/sign-in"), visitor.sign_in(cast.owner.key_text)]
    secrets.append(kept(visitor)["secret"])
    block = f"/board/farms/{cast.farm.pk}/blocks/{yard.block.pk}"
    answers += [visitor.get(path) for path in ("/board", block, f"{block}/vine-map.svg", "/board/nowhere")]
    answers.append(visitor.post("/board/sign-in", {"key": "vine_wrong"}))
    answers.append(visitor.post("/board/sign-out", {}, seen_at="/board"))
    shown = [answer.content.decode() + str(dict(answer.headers)) for answer in answers]
    shown += [caplog.text, *capfd.readouterr()]
    for secret in secrets:
        for part in (secret, secret[14:]):
            assert all(part not in text for text in shown)


def test_no_transaction_is_open_around_the_calls_of_a_page(cast, monkeypatch):
    """Each call has its own: within one, the farms of the first would stay open to the last, and nothing would end."""
    from django.urls import resolve

    for path in ("/board", "/board/sign-in", "/board/sign-out", f"/board/farms/{cast.farm.pk}/worklist"):
        assert connection.alias in vars(resolve(path).func)["_non_atomic_requests"]
