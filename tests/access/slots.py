"""Every place of a request that takes an id, read from the OpenAPI document: a new endpoint cannot be forgotten."""

from __future__ import annotations

import copy
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from drf_spectacular.generators import SchemaGenerator

METHODS = ("get", "post", "put", "patch", "delete")


@dataclass(frozen=True)
class Slot:
    """One place for an id in one operation: in the path, the query, or the body by its members and positions."""

    method: str
    route: str
    place: str
    path: tuple[str | int, ...]

    @property
    def name(self) -> str:
        """The member's or parameter's own name."""
        return next(str(step) for step in reversed(self.path) if isinstance(step, str))

    def __str__(self) -> str:
        return f"{self.method} {self.route} {self.place} {'.'.join(map(str, self.path))}"


def document() -> dict[str, Any]:
    """Give the OpenAPI document of the code as it is."""
    generated: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)
    return generated


def slots_of(described: Mapping[str, Any]) -> list[Slot]:
    """Give every slot of every operation."""
    return [
        slot
        for route, item in described["paths"].items()
        for method in METHODS
        if method in item
        for slot in _of_operation(described, method.upper(), route.lstrip("/"), item[method])
    ]


def _of_operation(
    described: Mapping[str, Any], method: str, route: str, operation: Mapping[str, Any]
) -> Iterator[Slot]:
    for parameter in operation.get("parameters", []):
        if parameter["schema"].get("format") == "uuid":
            yield Slot(method, route, parameter["in"], (parameter["name"],))
    body = operation.get("requestBody", {}).get("content", {}).get("application/json", {})
    seen = {tuple(path) for path in _ids_in(described, body.get("schema", {}), ())}
    for path in sorted(seen, key=str):
        yield Slot(method, route, "body", path)


def _ids_in(described: Mapping[str, Any], schema: Any, path: tuple[str | int, ...]) -> Iterator[tuple[str | int, ...]]:
    if "$ref" in schema:
        schema = described["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
    if schema.get("format") == "uuid":
        yield path
    for name, inner in schema.get("properties", {}).items():
        yield from _ids_in(described, inner, (*path, name))
    if isinstance(schema.get("items"), Mapping):
        yield from _ids_in(described, schema["items"], (*path, 0))
    for union in ("oneOf", "anyOf", "allOf"):
        for inner in schema.get(union, []):
            yield from _ids_in(described, inner, path)


def with_id(body: Any, path: tuple[str | int, ...], value: uuid.UUID) -> Any:
    """Give the body with an id at a place; what leads there is made where it is missing."""
    changed = copy.deepcopy(body)
    place = changed
    for step, following in pairwise(path):
        made: Any = [{}] if following == 0 else {}
        place = place.setdefault(step, made) if isinstance(step, str) else place[step]
    place[path[-1]] = [str(value)] if path[-1] == 0 and not place else str(value)
    return changed
