"""Somebody with a browser at the board: signs in, follows links and sends forms, over HTTP."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from typing import Any

import pytest
from django.db import connection
from django.test import Client

TOKEN = re.compile(r'name="csrfmiddlewaretoken" value="([^"]+)"')


@pytest.fixture(scope="session")
def loaded(django_db_setup: None, django_db_blocker: Any) -> None:
    """Load what serves everybody before a transaction of a test is open: it looks at its role as it starts."""
    with django_db_blocker.unblock():
        import vineyard.wsgi  # noqa: F401


@pytest.fixture
def same_application(loaded: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let calls from within a request go on in the transaction of the test, as those of Django's own client do."""
    monkeypatch.setattr(connection, "close_if_unusable_or_obsolete", lambda: None)


class Texts(HTMLParser):
    """The words of a page, without what only machines read."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.links: list[str] = []
        self.pictures: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        if tag == "a" and told.get("href"):
            self.links.append(str(told["href"]))
        if tag in {"img", "source"}:
            self.pictures.append(str(told.get("src") or told.get("srcset")))

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def read(page: Any) -> Texts:
    reader = Texts()
    reader.feed(page.content.decode())
    return reader


def words(page: Any) -> str:
    """Give the words of a page on one line."""
    return " ".join(" ".join(read(page).texts).split())


class Visitor:
    """One browser, with its own cookies, that asks for tokens as a browser does."""

    def __init__(self) -> None:
        self.client = Client(enforce_csrf_checks=True)

    def get(self, path: str, **more: Any) -> Any:
        return self.client.get(path, **more)

    def post(self, path: str, form: dict[str, str], *, seen_at: str = "/board/sign-in") -> Any:
        token = TOKEN.search(self.get(seen_at).content.decode())
        assert token, f"no form at {seen_at}"
        return self.client.post(path, {"csrfmiddlewaretoken": token[1], **form})

    def sign_in(self, key: str, **more: str) -> Any:
        return self.post("/board/sign-in", {"key": key, "units": "metric", **more})

    def page(self, path: str) -> Any:
        """Give a page that must be there."""
        page = self.get(path)
        assert page.status_code == 200, (path, page.status_code, page.content[:2_000])
        return page
