"""The board is an example for whoever writes a dashboard: it may use nothing that they could not use."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from django.urls import Resolver404, resolve

from vineyard import board
from vineyard.board.addresses import ADDRESSES

FOLDER = Path(board.__file__).parent
SOURCES = sorted(FOLDER.glob("**/*.py"))
TEMPLATES = sorted((FOLDER.parent / "templates" / "board").glob("*.html"))
#: What stands before the calls of a page.
PATHS = {"farms.py": "/farms/{farm}", "blocks.py": "/farms/{farm}/blocks/{block}"}
ID = "01991b5e-0000-7000-8000-00000000fa01"
#: What anybody who writes pages in Django has; nothing of it knows what is on record.
ALLOWED = {
    "django.conf", "django.core", "django.db.transaction", "django.http", "django.http.response", "django.shortcuts",
    "django.urls", "django.utils.cache", "django.utils.decorators", "django.utils.http", "django.utils.module_loading",
    "django.views", "django.views.decorators.debug", "orjson", "vineyard.board",
}  # fmt: skip
STANDARD = {"__future__", "collections", "dataclasses", "datetime", "functools", "io", "re", "sys", "typing", "urllib",
            "uuid", "wsgiref"}  # fmt: skip


def imported(source: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(source.read_text())):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "a relative import hides what it imports"
            names.add(node.module or "")
    return names


@pytest.mark.parametrize("source", SOURCES, ids=lambda path: path.name)
def test_no_part_of_it_imports_the_records_or_what_they_mean(source):
    for name in imported(source):
        first = name.partition(".")[0]
        ours = name == "vineyard.board" or name.startswith("vineyard.board.")
        assert ours or name in ALLOWED or first in STANDARD, name


@pytest.mark.parametrize("source", SOURCES, ids=lambda path: path.name)
def test_no_part_of_it_asks_the_database_or_calls_a_view(source):
    text = source.read_text()
    for way in (".objects", "connection", "cursor(", "request.user", "request.session", "import_module", "__import__",
                "get_resolver", "resolve(", "as_view()("):  # fmt: skip
        assert way not in text, way
    if source.name != "calls.py":
        assert "import_string" not in text


def test_there_is_one_place_where_calls_are_made_and_it_calls_what_serves_everybody():
    text = (FOLDER / "calls.py").read_text()
    assert text.count("import_string(") == 1
    assert "import_string(settings.WSGI_APPLICATION)" in text


def test_every_address_that_it_calls_stands_in_the_public_api():
    found = set()
    for source in SOURCES:
        for literal in re.findall(r'f?"(/(?:farms|me|portfolio)[^"]*|\{(?:path|scope)\}/[^"]*)"', source.read_text()):
            path = literal.replace("{path}", PATHS.get(source.name, "")).replace("{scope}", "/farms/{farm}")
            if "{chart}" in path:
                continue
            path = re.sub(r"\{[^}]*\}", ID, path.replace("{form}", "pdf"))
            found.add(path)
            try:
                resolve(f"/api/v1{path}")
            except Resolver404:
                pytest.fail(f"{source.name}: {literal}")
    assert len(found) > 12


def test_no_template_loads_anything_from_elsewhere_or_says_what_its_policy_forbids():
    assert TEMPLATES
    for template in TEMPLATES:
        text = template.read_text()
        assert not re.search(r"https?://", text), template.name
        assert not re.search(r"\sstyle=|<style|\son\w+=|javascript:|\|safe|autoescape off", text), template.name
        for script in re.findall(r"<script[^>]*>", text):
            assert "{% static" in script, template.name


def test_every_address_of_it_is_of_the_board():
    for address in ADDRESSES:
        assert str(address.pattern).startswith("board")
