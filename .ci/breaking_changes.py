"""Refuse what would break a client that was written by the last released OpenAPI document.

``tests/openapi.yaml`` says what the service is today, ``released_openapi.json.gz`` beside this file what it was at the
last release, without examples and texts.  Whatever a client may send by the released document must still be taken, and
whatever it is answered must be what that document told of; more may be taken, and more may be answered.  A break passes
only where ``vineyard/api/deprecations.py`` names it and its sunset has passed.

    uv run python .ci/breaking_changes.py            says what breaks, and fails
    uv run python .ci/breaking_changes.py --release  takes today's document for the released one

Not seen: a break in what no schema says (a rule, a default, what a figure means).
"""

from __future__ import annotations

import gzip
import json
import sys
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import yaml
from openapi_compared import OPEN, Break, breaks

ROOT: Final = Path(__file__).resolve().parent.parent
TODAY: Final = ROOT / "tests" / "openapi.yaml"
RELEASED: Final = Path(__file__).with_name("released_openapi.json.gz")
_NO_TEXT: Final = ("example", "examples", "summary", "title", "externalDocs")


def may_be(found: Break, registry: Iterable[Any], now: datetime) -> bool:
    """Tell whether a break was announced and its sunset has passed."""
    return any(
        each.operation == found.operation
        and each.is_over(now)
        and (each.part == "operation" or (each.part == found.part and f"{found.name}/".startswith(f"{each.name}/")))
        for each in registry
    )


def told(found: Iterable[Break]) -> Iterator[str]:
    """Give one line for what is the same in many operations: they share a component."""
    together: dict[str, list[str]] = {}
    for each in found:
        together.setdefault(f"{each.part} {each.name}".strip() + f": {each.says}", []).append(each.operation)
    for what, operations in together.items():
        more = f" and {len(operations) - 1} more" if len(operations) > 1 else ""
        yield f"{operations[0]}{more}: {what}"


def without_texts(part: Any, *, named: bool = False) -> Any:
    """Leave out of a document what no comparison reads; ``named``: the keys are names, not words of OpenAPI."""
    if isinstance(part, list):
        return [without_texts(each) for each in part]
    if not isinstance(part, dict):
        return part
    return {
        name: without_texts(value, named=not named and name in {"properties", "paths", "schemas", "headers"})
        for name, value in part.items()
        if named or not (name in _NO_TEXT or (name == "description" and OPEN not in str(value)))
    }


def load_today() -> dict[str, Any]:
    """Read today's document."""
    with TODAY.open(encoding="utf-8") as file:
        document: dict[str, Any] = yaml.load(file, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))
    return document


def release() -> None:
    """Take today's document for the released one."""
    text = json.dumps(without_texts(load_today()), sort_keys=True, separators=(",", ":"))
    RELEASED.write_bytes(gzip.compress(text.encode(), 9, mtime=0))


def main() -> int:
    """Say what breaks, and answer with the exit status."""
    if sys.argv[1:] == ["--release"]:
        release()
        return 0
    sys.path.insert(0, str(ROOT))
    from vineyard.api.deprecations import REGISTRY

    old = json.loads(gzip.decompress(RELEASED.read_bytes()))
    found = list(breaks(old, load_today()))
    refused = [each for each in found if not may_be(each, REGISTRY, datetime.now(UTC))]
    for line in told(refused):
        print(line)
    print(f"{len(old['paths'])} released addresses, {len(refused)} breaks, {len(found) - len(refused)} let pass")
    return 1 if refused else 0


if __name__ == "__main__":
    sys.exit(main())
