"""Pages for people: where to begin and what a problem means."""

from __future__ import annotations

import gzip

import pytest
import yaml
from drf_spectacular.generators import SchemaGenerator

from vineyard.api.problems import KINDS

pytestmark = pytest.mark.django_db


def test_the_landing_page_says_how_to_begin_and_what_to_mind(client):
    page = client.get("/", headers={"Accept": "text/html"})
    assert page.headers["Content-Type"].startswith("text/html")
    for words in ("/docs", "/openapi.json", "balance/targets", "Guide only"):
        assert words in page.content.decode()


def test_a_program_gets_the_landing_page_as_json(client):
    told = client.get("/", headers={"Accept": "application/json"}).json()
    assert told["openapi"].endswith("/openapi.json")


@pytest.mark.parametrize("code", KINDS)
def test_the_type_of_every_problem_is_the_address_of_its_explanation(code, client):
    page = client.get("/" + KINDS[code].address.split("/", 3)[3])
    assert KINDS[code].title in page.content.decode()


@pytest.mark.parametrize("path", ["/", "/problems", "/problems/stale", "/docs", "/redoc"])
def test_every_page_may_load_from_here_alone(path, client):
    policy = client.get(path).headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "http" not in policy


def test_the_openapi_document_is_written_once_and_is_known_again(client, monkeypatch):
    first = client.get("/openapi.json")
    monkeypatch.setattr(SchemaGenerator, "get_schema", lambda *_, **__: pytest.fail("it was made again"))
    again = client.get("/openapi.json")
    assert again.content == first.content
    known = client.get("/openapi.json", headers={"If-None-Match": first.headers["ETag"]})
    assert (known.status_code, known.content) == (304, b"")


@pytest.mark.parametrize("path", ["/openapi.json", "/openapi.yaml"])
def test_the_openapi_document_travels_compressed_to_whoever_takes_it_so(path, client):
    plain, packed = client.get(path), client.get(path, headers={"Accept-Encoding": "gzip"})
    assert gzip.decompress(packed.content) == plain.content
    assert len(packed.content) < len(plain.content) / 5
    assert packed.headers["Content-Encoding"] == "gzip"
    assert {"Accept-Encoding"} <= {each.strip() for each in packed.headers["Vary"].split(",")}


def test_both_formats_of_the_openapi_document_say_the_same(client):
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    said = yaml.load(client.get("/openapi.yaml").content, Loader=loader)
    assert client.get("/openapi.json").json() == said
