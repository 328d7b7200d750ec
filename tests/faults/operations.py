"""Every operation of the OpenAPI document that takes a JSON body, with the body that the document itself gives."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from drf_spectacular.generators import SchemaGenerator

JSON = "application/json"
Path = tuple[str, ...]


@dataclass(frozen=True)
class Operation:
    """A method of an address, an example of what it takes, and the names of all members that it knows.

    ``changes`` if it asks for a version, ``tells_where`` if its 201 says where what it made stands.
    """

    method: str
    path: str
    example: Mapping[str, Any]
    members: tuple[str, ...]
    changes: bool
    tells_where: bool

    @property
    def name(self) -> str:
        return f"{self.method.upper()} {self.path}"


@cache
def document() -> dict[str, Any]:
    """Give the document of the service as it stands, not a file of it."""
    made: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)
    return made


def operations() -> list[Operation]:
    """Give every operation that takes a JSON object."""
    return list(_operations())


def _operations() -> Iterator[Operation]:
    for path, methods in document()["paths"].items():
        for method, told in methods.items():
            content = told.get("requestBody", {}).get("content", {}).get(JSON) if isinstance(told, dict) else None
            schema = _resolved(content["schema"]) if content else {}
            if not content or schema.get("type") != "object":
                continue
            examples: list[dict[str, Any]] = list(content.get("examples", {}).values())
            example = examples[0]["value"] if examples else {}
            needs_version = any(each.get("name") == "If-Match" for each in told.get("parameters", []))
            tells_where = "Location" in told["responses"].get("201", {}).get("headers", {})
            yield Operation(method, path, example, tuple(schema.get("properties", {})), needs_version, tells_where)


def _resolved(schema: dict[str, Any]) -> dict[str, Any]:
    while "$ref" in schema:
        name = schema["$ref"].rsplit("/", 1)[1]
        schema = document()["components"]["schemas"][name]
    return schema


def places(operation: Operation) -> list[Path]:
    """Give every member of the body, and every member of those that are objects."""
    found = [(name,) for name in dict.fromkeys([*operation.example, *operation.members])]
    inner = [(name, part) for name, value in operation.example.items() if isinstance(value, dict) for part in value]
    return [*found, *inner]
