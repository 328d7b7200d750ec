"""The OpenAPI document tells the truth: it is valid, complete, as released, and what the service really answers."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.core.management import call_command
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator

from tests.test_access_matrix import routes

GOLDEN = Path(__file__).with_name("openapi.yaml")


@pytest.fixture(scope="module")
def document(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    file = tmp_path_factory.mktemp("schema") / "openapi.yaml"
    call_command("spectacular", "--validate", "--fail-on-warn", file=str(file))
    if os.environ.get("UPDATE_OPENAPI"):
        GOLDEN.write_bytes(file.read_bytes())
    return load(file)


def load(file: Path) -> dict[str, Any]:
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)  # in Python alone it takes many seconds
    loaded: dict[str, Any] = yaml.load(file.read_text(), Loader=loader)
    return loaded


def operations(document: dict[str, Any]) -> list[tuple[str, str, dict[str, Any]]]:
    return [(path, method, op) for path, item in document["paths"].items() for method, op in item.items()]


def test_it_is_as_released(document):
    """After a change on purpose: UPDATE_OPENAPI=1 uv run pytest tests/test_openapi.py, and read the difference."""
    assert document == load(GOLDEN)


def test_it_is_valid_openapi_3_1(document):
    assert document["openapi"] == "3.1.0"
    assert list(OpenAPIV31SpecValidator(document).iter_errors()) == []


def test_every_address_of_the_api_is_in_it_and_none_else(document):
    served = {(method, "/" + route) for method, route in routes() if route.startswith("api/")}
    assert {(method.upper(), path) for path, method, _ in operations(document)} == served


def test_every_operation_says_what_it_does_shows_an_example_and_lists_its_problems(document):
    for path, method, operation in operations(document):
        assert operation["summary"], (path, method)
        assert operation["description"], (path, method)
        assert {"500", "503", "405", "406"} <= set(operation["responses"]), (path, method)


def test_every_example_is_valid_by_its_own_schema(document):
    for where, schema, example in examples(document):
        resolved = {**schema, "components": document["components"]}
        faults = [error.message for error in Draft202012Validator(resolved).iter_errors(example)]
        assert faults == [], where


def test_no_example_counts_one_of_something_as_many(document):
    """Most examples are what the service computes, so that this holds its sentences too."""
    counted_as_many = re.compile(
        r"(?<![\d.,])1 (nodes|buds|vines|canes|clusters|shoots|points|rows|cordons|arms|winters|seasons|years|records)\b"
    )
    said = {where: counted_as_many.findall(json.dumps(example)) for where, _, example in examples(document)}
    assert {where: found for where, found in said.items() if found} == {}


def examples(document: dict[str, Any]) -> list[tuple[str, dict[str, Any], Any]]:
    found = []
    for path, method, operation in operations(document):
        parts = [operation.get("requestBody", {}), *operation["responses"].values()]
        for part in parts:
            for media in part.get("content", {}).values():
                for name, example in media.get("examples", {}).items():
                    found.append((f"{method} {path}: {name}", media["schema"], example["value"]))
    return found
