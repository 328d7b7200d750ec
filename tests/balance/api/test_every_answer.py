"""Whatever is computed for somebody says by which method, of which version and source, from what, and with what caution.

Read from the document that clients read, so that a new endpoint cannot be forgotten.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

DOCUMENT: dict[str, Any] = yaml.load(
    (Path(__file__).parents[2] / "openapi.yaml").read_text(), Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader)
)
COMPUTED = {"targets", "sampling", "yield and thinning", "crop load and vine size"}
#: What a computed answer stands beside: figures of what was measured, and what was told before.
MEASURED = {
    "/api/v1/farms/{farm}/blocks/{block}/statistics",
    "/api/v1/farms/{farm}/formulas/{formula}/targets",
}


def computed_operations() -> Iterator[Any]:
    for path, operations in DOCUMENT["paths"].items():
        for method, operation in operations.items():
            tags = set(operation.get("tags", ()))
            if path not in MEASURED and ("/balance/" in path or tags & COMPUTED):
                yield pytest.param(operation, id=f"{method} {path}")


def members_of(schema: dict[str, Any], seen: frozenset[str] = frozenset()) -> set[str]:
    """Give the names of all members of an answer, also of objects within."""
    reference = schema.get("$ref", "")
    if reference in seen:
        return set()
    if reference:
        return members_of(DOCUMENT["components"]["schemas"][reference.rpartition("/")[2]], seen | {reference})
    names = set(schema.get("properties", {}))
    within = [*schema.get("properties", {}).values(), schema.get("items") or {}]
    within += [each for word in ("allOf", "oneOf", "anyOf") for each in schema.get(word, ())]
    return names.union(*(members_of(each, seen) for each in within if each))


@pytest.mark.parametrize("operation", computed_operations())
def test_a_computed_answer_can_be_defended(operation):
    answer = next(answer for status, answer in operation["responses"].items() if status in {"200", "201"})
    members = members_of(answer["content"]["application/json"]["schema"])
    assert {"source", "cautions"} <= members
    assert {"version", "formula_version"} & members
    assert {"mark", "source_mark"} & members
    assert {"unit", "weight_unit"} & members


def test_there_are_computed_operations():
    assert len(list(computed_operations())) >= 20
