"""Each way to break a client of the released document is found; what only adds to it passes."""

from __future__ import annotations

import copy
import gzip
import importlib.util
import json
import sys
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from vineyard.api.deprecations import Deprecation

ROOT = Path(__file__).resolve().parents[2]
Edit = Callable[[dict[str, Any]], object]


def load(name: str) -> Any:
    """Load a script of the gate, with those beside it."""
    sys.path.insert(0, str(ROOT / ".ci"))
    try:
        spec = importlib.util.spec_from_file_location(name, ROOT / ".ci" / f"{name}.py")
        assert spec and spec.loader
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
        return module
    finally:
        sys.path.remove(str(ROOT / ".ci"))


compared = load("openapi_compared")
checker = load("breaking_changes")
BLOCKS = "/farms/{farm}/blocks"
#: An invented service with one of each: a list, a create, a file.
RELEASED: dict[str, Any] = {
    "paths": {
        BLOCKS: {
            "get": {
                "security": [{"key": []}],
                "parameters": [
                    {"in": "path", "name": "farm", "required": True, "schema": {"type": "string", "format": "uuid"}},
                    {
                        "in": "query",
                        "name": "limit",
                        "schema": {"type": "integer", "minimum": 1, "maximum": 500, "default": 100},
                    },
                    {"in": "query", "name": "order", "schema": {"type": "string", "enum": ["name", "age"]}},
                ],
                "responses": {
                    "200": {
                        "headers": {"ETag": {"schema": {"type": "string"}}},
                        "content": {
                            "application/json": {
                                "schema": {"type": "array", "items": {"$ref": "#/components/schemas/Block"}}
                            },
                            "text/csv": {"schema": {"type": "string"}},
                        },
                    },
                    "404": {"$ref": "#/components/responses/not_found"},
                },
            },
            "post": {
                "security": [{"key": []}],
                "requestBody": {
                    "content": {"application/json": {"schema": {"$ref": "#/components/schemas/BlockRequest"}}}
                },
                "responses": {
                    "201": {"content": {"application/json": {"schema": {"$ref": "#/components/schemas/Block"}}}}
                },
            },
        }
    },
    "components": {
        "responses": {"not_found": {"content": {"application/problem+json": {"schema": {"type": "object"}}}}},
        "schemas": {
            "Block": {
                "type": "object",
                "required": ["id", "name", "area"],
                "properties": {
                    "id": {"type": "string", "format": "uuid"},
                    "name": {"type": "string"},
                    "area": {"type": "number"},
                    "form": {"type": "string", "enum": ["spur", "cane"]},
                    "state": {
                        "type": "string",
                        "enum": ["young", "grown"],
                        "description": "There may be more in later versions.",
                    },
                    "parent": {"oneOf": [{"$ref": "#/components/schemas/Block"}, {"type": "null"}]},
                },
            },
            "BlockRequest": {
                "type": "object",
                "required": ["name"],
                "properties": {
                    "name": {"type": "string", "minLength": 1, "maxLength": 80},
                    "area": {"type": ["number", "null"], "minimum": 0, "maximum": 1000},
                    "form": {"allOf": [{"$ref": "#/components/schemas/Form"}], "description": "How it is pruned."},
                    "rows": {"type": "array", "maxItems": 99, "items": {"type": "object", "properties": {"n": {"type": "integer"}}}},
                },
            },
            "Form": {"type": "string", "enum": ["spur", "cane"]},
        },
    },
}  # fmt: skip


def listed(document: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = document["paths"][BLOCKS]["get"]
    return found


def created(document: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = document["paths"][BLOCKS]["post"]
    return found


def block(document: dict[str, Any], request: bool = False) -> dict[str, Any]:
    found: dict[str, Any] = document["components"]["schemas"]["BlockRequest" if request else "Block"]
    return found


def sent(document: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = block(document, request=True)["properties"]
    return found


def answered(document: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = block(document)["properties"]
    return found


def after(edit: Edit) -> list[str]:
    document = copy.deepcopy(RELEASED)
    edit(document)
    return [str(each) for each in compared.breaks(RELEASED, document)]


BREAKS: dict[str, tuple[Edit, str]] = {
    "an address gone": (lambda d: d["paths"].pop(BLOCKS), f"GET {BLOCKS}: operation: is gone"),
    "an operation gone": (lambda d: d["paths"][BLOCKS].pop("post"), f"POST {BLOCKS}: operation: is gone"),
    "a new security": (lambda d: listed(d).update(security=[{"key": [], "device": []}]), "asks for more than before"),
    "a wider scope": (lambda d: listed(d).update(security=[{"key": ["manage"]}]), "asks for more than before"),
    "a parameter gone": (lambda d: listed(d)["parameters"].pop(1), "parameter limit: is gone"),
    "a parameter required": (lambda d: listed(d)["parameters"][1].update(required=True), "limit: is required now"),
    "a new required parameter": (
        lambda d: listed(d)["parameters"].append({"in": "query", "name": "season", "required": True}),
        "parameter season: is new and required",
    ),
    "a parameter's bound": (
        lambda d: listed(d)["parameters"][1]["schema"].update(maximum=100), "limit: maximum is 100, was 500"
    ),
    "a parameter's new bound": (
        lambda d: listed(d)["parameters"][2]["schema"].update(maxLength=3), "order: maxLength is 3, was none"
    ),
    "a parameter's words": (
        lambda d: listed(d)["parameters"][2]["schema"].update(enum=["name"]), 'order: takes "age" no more'
    ),
    "a parameter's type": (
        lambda d: listed(d)["parameters"][1].update(schema={"type": "string"}), "limit: is no integer any more"
    ),
    "a parameter written otherwise": (
        lambda d: listed(d)["parameters"][2].update(explode=False), "order: is written in another explode"
    ),
    "a body required": (lambda d: created(d)["requestBody"].update(required=True), "request: a body is required now"),
    "a body's media type gone": (
        lambda d: created(d)["requestBody"].update(content={"text/csv": {}}), "application/json is taken no more"
    ),
    "a member of a request gone": (lambda d: sent(d).pop("area"), "request area: is gone"),
    "a member of a request required": (lambda d: block(d, True)["required"].append("area"), "area: is required now"),
    "a new required member": (
        lambda d: (sent(d).update(year={"type": "integer"}), block(d, True)["required"].append("year")),
        "request year: is required now",
    ),
    "a member's type": (lambda d: sent(d)["area"].update(type=["string", "null"]), "area: is no number any more"),
    "a number that must be whole": (lambda d: sent(d)["area"].update(type=["integer", "null"]), "is no number any more"),
    "a member not null": (lambda d: sent(d)["area"].update(type="number"), "area: is no null any more"),
    "a greater lower bound": (lambda d: sent(d)["area"].update(minimum=1), "area: minimum is 1, was 0"),
    "a longer least length": (lambda d: sent(d)["name"].update(minLength=2), "name: minLength is 2, was 1"),
    "a shorter list": (lambda d: sent(d)["rows"].update(maxItems=9), "rows: maxItems is 9, was 99"),
    "a pattern": (lambda d: sent(d)["name"].update(pattern="^a"), "name: pattern is '^a', was 'none'"),
    "words of a component of a request": (
        lambda d: d["components"]["schemas"]["Form"].update(enum=["spur"]), 'form: takes "cane" no more'
    ),
    "a list of words where any was taken": (lambda d: sent(d)["name"].update(enum=["A"]), "takes words of a list alone"),
    "no other members": (lambda d: block(d, True).update(additionalProperties=False), "takes no other members any more"),
    "a member deep inside": (lambda d: sent(d)["rows"]["items"]["properties"].pop("n"), "request rows/*/n: is gone"),
    "a status gone": (
        lambda d: created(d)["responses"].update({"202": created(d)["responses"].pop("201")}), "201 is answered no more"
    ),
    "an answer's media type gone": (
        lambda d: listed(d)["responses"]["200"]["content"].pop("text/csv"), "response: text/csv of 200 is gone"
    ),
    "a header gone": (lambda d: listed(d)["responses"]["200"].pop("headers"), "the header ETag of 200 is gone"),
    "a member of an answer gone": (lambda d: answered(d).pop("form"), "response */form: is gone"),
    "a member of an answer that may miss": (lambda d: block(d)["required"].remove("area"), "area: may be missing now"),
    "an answer's type": (lambda d: answered(d)["area"].update(type="string"), "area: may be string now"),
    "an answer that may be null": (lambda d: answered(d)["area"].update(type=["number", "null"]), "area: may be null now"),
    "an answer's format": (lambda d: answered(d)["id"].update(format="uri"), "id: format is 'uri', was 'uuid'"),
    "more words of an answer": (lambda d: answered(d)["form"]["enum"].append("minimal"), 'form: may be "minimal" now'),
    "any word of an answer": (lambda d: answered(d)["form"].pop("enum"), "form: may be any word now"),
    "another form of an answer": (
        lambda d: answered(d)["parent"]["oneOf"].append({"type": "string"}), "parent: may be string now"
    ),
    "a problem's media type": (
        lambda d: d["components"]["responses"]["not_found"].update(content={"text/html": {}}),
        "application/problem+json of 404 is gone",
    ),
}  # fmt: skip
ADDITIONS: dict[str, Edit] = {
    "a new address": lambda d: d["paths"].update({"/new": copy.deepcopy(d["paths"][BLOCKS])}),
    "a new operation": lambda d: d["paths"][BLOCKS].update(patch=copy.deepcopy(created(d))),
    "another way in": lambda d: listed(d).update(security=[{"key": []}, {}]),
    "a new parameter": lambda d: listed(d)["parameters"].append({"in": "query", "name": "season"}),
    "parameters in another order": lambda d: listed(d)["parameters"].reverse(),
    "a wider bound": lambda d: listed(d)["parameters"][1]["schema"].update(maximum=1000, minimum=0),
    "no bound any more": lambda d: sent(d)["area"].pop("maximum"),
    "more words of a request": lambda d: d["components"]["schemas"]["Form"]["enum"].append("minimal"),
    "a list of words let go": lambda d: listed(d)["parameters"][2]["schema"].pop("enum"),
    "a whole number that may be any": lambda d: listed(d)["parameters"][1]["schema"].update(type="number"),
    "a new member of a request": lambda d: sent(d).update(year={"type": "integer"}),
    "a member no more required": lambda d: block(d, True).update(required=[]),
    "a shape that is none": lambda d: sent(d)["name"].update(minLength=0, uniqueItems=False),
    "another media type of a request": lambda d: created(d)["requestBody"]["content"].update({"text/csv": {}}),
    "another form of a request": lambda d: sent(d).update(area={"oneOf": [sent(d)["area"], {"type": "string"}]}),
    "a new member of an answer": lambda d: answered(d).update(note={"type": "string"}),
    "a member always answered": lambda d: block(d)["required"].append("form"),
    "fewer words of an answer": lambda d: answered(d)["form"].update(enum=["spur"]),
    "more words where that was announced": lambda d: answered(d)["state"]["enum"].append("old"),
    "a whole number in an answer": lambda d: answered(d)["area"].update(type="integer"),
    "another form of an answer's media": lambda d: listed(d)["responses"]["200"]["content"].update({"image/svg+xml": {}}),
    "another status": lambda d: created(d)["responses"].update({"202": {}}),
    "a new header": lambda d: listed(d)["responses"]["200"]["headers"].update(Link={}),
    "a component by another name": lambda d: (
        d["components"]["schemas"].update(Pruning=d["components"]["schemas"].pop("Form")),
        sent(d).update(form={"$ref": "#/components/schemas/Pruning"}),
    ),
    "a component written out": lambda d: sent(d).update(form={"type": "string", "enum": ["spur", "cane"]}),
    "other texts": lambda d: (listed(d).update(summary="x", description="y"), answered(d)["form"].update(title="z")),
    "marked as deprecated": lambda d: (listed(d).update(deprecated=True), sent(d)["area"].update(deprecated=True)),
}  # fmt: skip


@pytest.mark.parametrize("name", list(BREAKS))
def test_a_break_is_found_and_said(name):
    edit, says = BREAKS[name]
    assert any(says in line for line in after(edit)), after(edit)


@pytest.mark.parametrize("name", list(ADDITIONS))
def test_what_only_adds_passes(name):
    assert after(ADDITIONS[name]) == []


def test_a_document_breaks_nothing_of_its_own():
    today = checker.load_today()
    assert list(compared.breaks(today, today)) == []


def test_the_compact_copy_of_a_document_breaks_nothing_and_loses_nothing_that_is_compared():
    compact = checker.without_texts(RELEASED)
    for name, (edit, says) in BREAKS.items():
        document = copy.deepcopy(RELEASED)
        edit(document)
        assert any(says in str(each) for each in compared.breaks(compact, document)), name
    assert list(compared.breaks(compact, RELEASED)) == list(compared.breaks(RELEASED, compact)) == []


def test_the_released_document_is_kept_whole_but_for_its_texts():
    released = json.loads(gzip.decompress(checker.RELEASED.read_bytes()))
    assert len(released["paths"]) >= 140
    gone = copy.deepcopy(released)
    for item in gone["paths"].values():
        for operation in item.values():
            operation["responses"].pop("200", None)
    broken = [each for each in compared.breaks(released, gone) if each.says == "200 is answered no more"]
    assert len(broken) == sum("200" in op["responses"] for item in released["paths"].values() for op in item.values())


def lost_without(name: str, members: Iterable[str]) -> set[str]:
    """Take members of a schema out of the released document; give what is missed."""
    released = json.loads(gzip.decompress(checker.RELEASED.read_bytes()))
    document = copy.deepcopy(released)
    for member in members:
        del document["components"]["schemas"][name]["properties"][member]
    return {each.name.rpartition("/")[2] for each in compared.breaks(released, document)}


@pytest.mark.parametrize(
    ("name", "some"), [("BlockOut", "cultivar"), ("DormantRecordOut", "nodes_retained"), ("WorkingOut", "calculation")]
)
def test_each_member_of_components_that_the_service_really_answers_with_is_missed_when_it_is_gone(name, some):
    members = json.loads(gzip.decompress(checker.RELEASED.read_bytes()))["components"]["schemas"][name]["properties"]
    assert lost_without(name, members) >= set(members)
    assert lost_without(name, [some]) == {some}


def entry(part: str = "operation", name: str = "", sunset: int = 2026, operation: str = f"GET {BLOCKS}") -> Deprecation:
    since, until = (datetime(year, 3, 1, tzinfo=UTC) for year in (sunset - 2, sunset))
    return Deprecation(operation, since, until, "/docs", part=part, name=name)


NOW = datetime(2026, 11, 26, tzinfo=UTC)
GONE = compared.Break(f"GET {BLOCKS}", "operation", "", "is gone")
LIMIT_GONE = compared.Break(f"GET {BLOCKS}", "parameter", "limit", "is gone")
DEEP = compared.Break(f"GET {BLOCKS}", "response", "*/form/code", "is gone")


@pytest.mark.parametrize(
    ("found", "registry", "passes"),
    [
        (GONE, [], False),
        (GONE, [entry()], True),
        (GONE, [entry(sunset=2027)], False),
        (GONE, [entry(operation=f"POST {BLOCKS}")], False),
        (GONE, [entry("parameter", "limit")], False),
        (LIMIT_GONE, [entry("parameter", "limit")], True),
        (LIMIT_GONE, [entry("parameter", "lim")], False),
        (LIMIT_GONE, [entry("request", "limit")], False),
        (LIMIT_GONE, [entry()], True),
        (DEEP, [entry("response", "*/form")], True),
        (DEEP, [entry("response", "*/form/code")], True),
        (DEEP, [entry("response", "*/form/code/more")], False),
    ],
)
def test_a_break_passes_only_where_it_was_announced_and_its_sunset_has_passed(found, registry, passes):
    assert checker.may_be(found, registry, NOW) is passes


def test_what_is_the_same_in_many_operations_is_said_once():
    many = [compared.Break(f"GET /{name}", "response", "area", "is gone") for name in "abc"]
    assert list(checker.told([*many, GONE])) == [
        "GET /a and 2 more: response area: is gone", f"GET {BLOCKS}: operation: is gone",
    ]  # fmt: skip


def test_the_gate_asks_before_the_tests():
    steps = (ROOT / ".ci" / "run").read_text()
    assert 0 < steps.index("uv run python .ci/breaking_changes.py") < steps.index("uv run pytest")
