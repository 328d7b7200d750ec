"""An operation that explains too little stops the OpenAPI document; a complete one gets what all share."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from vineyard.api.schema import IncompleteOperation, complete_operations

FARM = {"type": "object", "properties": {"name": {"type": "string"}, "version": {"type": "integer"}}}
OPERATION: dict[str, Any] = {
    "summary": "Change a farm",
    "description": "Send the members to change.",
    "security": [{"key": []}],
    "requestBody": {"content": {"application/json": {"examples": {"One": {"value": {"name": "a"}}}}}},
    "responses": {
        "200": {
            "content": {
                "application/json": {
                    "schema": {"$ref": "#/components/schemas/Farm"},
                    "examples": {"One": {"value": {}}},
                }
            }
        }
    },
}

#: A change asks for the version that it knows.
ASKING: dict[str, Any] = {**OPERATION, "parameters": [{"name": "If-Match", "in": "header"}]}


def completed(operation: dict[str, Any], method: str = "patch") -> dict[str, Any]:
    document = {
        "info": {"title": "t"},
        "paths": {"/farms/{farm}": {method: copy.deepcopy(operation)}},
        "components": {"schemas": {"Farm": FARM}},
    }
    done: dict[str, Any] = complete_operations(document, None, None, True)["paths"]["/farms/{farm}"][method]
    return done


@pytest.mark.parametrize("member", ["summary", "description"])
def test_an_operation_without_words_is_refused(member):
    with pytest.raises(IncompleteOperation, match=f"PATCH /farms/{{farm}} has no {member}"):
        completed({**OPERATION, member: ""})


@pytest.mark.parametrize(("member", "says"), [("responses", "of its answer"), ("requestBody", "of its body")])
def test_an_operation_without_an_example_is_refused(member, says):
    empty: dict[str, Any] = {"content": {"application/json": {}}}
    bare = {"200": empty} if member == "responses" else empty
    with pytest.raises(IncompleteOperation, match=says):
        completed({**OPERATION, member: bare})


def test_a_change_lists_every_problem_that_it_may_meet():
    assert set(completed(OPERATION)["responses"]) == {
        "200", "400", "401", "403", "404", "405", "406", "408", "409", "411", "413", "415", "422", "429", "500", "503",
    }  # fmt: skip


def test_whatever_asks_for_a_version_lists_what_comes_of_a_wrong_one():
    assert {"412", "428"} <= set(completed(ASKING, "post")["responses"])
    assert not {"412", "428"} & set(completed(OPERATION, "post")["responses"])


def test_an_answer_without_a_body_needs_no_example():
    removal = {**OPERATION, "requestBody": None, "responses": {"204": {"description": "Gone"}}}
    assert "204" in completed(removal, "delete")["responses"]


def test_a_reading_lists_none_that_only_a_body_meets():
    reading = {name: value for name, value in OPERATION.items() if name != "requestBody"}
    assert set(completed(reading, "get")["responses"]) == {
        "200",
        "400",
        "401",
        "403",
        "404",
        "405",
        "406",
        "429",
        "500",
        "503",
    }


def test_a_versioned_answer_says_that_it_has_an_etag():
    assert {"ETag", "X-Request-ID"} <= set(completed(OPERATION)["responses"]["200"]["headers"])
