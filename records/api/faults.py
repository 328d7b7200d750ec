"""From Django REST framework's nested errors to a flat list, each with the place of its value."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, Final

from rest_framework.exceptions import ErrorDetail
from rest_framework.request import Request

from records.api.forms import CSV, XLSX
from records.errors import Fault

Path = tuple[str | int, ...]


def flatten(detail: Any, path: Path = ()) -> Iterator[tuple[Path, ErrorDetail]]:
    """Give (place, error) for every leaf; a list of mappings keeps its index, row 0 included."""
    if isinstance(detail, Mapping):
        for name, inner in detail.items():
            yield from flatten(inner, path if name == "non_field_errors" else (*path, name))
    elif isinstance(detail, Sequence) and not isinstance(detail, str):
        rows = any(isinstance(item, Mapping) for item in detail)
        for index, item in enumerate(detail):
            if not (rows and not item):
                yield from flatten(item, (*path, index) if rows else path)
    else:
        yield path, detail if isinstance(detail, ErrorDetail) else ErrorDetail(str(detail), "invalid")


def pointer(path: Path) -> str:
    """Write a place in the body as a JSON Pointer fragment (RFC 6901)."""
    return "#" + "".join("/" + str(step).replace("~", "~0").replace("/", "~1") for step in path)


#: Faults that no JSON Schema can tell a client beforehand: the request is as published, and a rule refuses it.
_RULES: Final = {
    "does_not_exist",
    "max_decimal_places",
    "max_digits",
    "max_whole_digits",
    "no_address",
    "one_of_cultivar_group",
    "one_of_formula_cultivar_group",
    "nothing_set",
    "scope_mismatch",
    "out_of_range",
    "too_many_digits",
    "unknown_stage",
}


def break_rules_only(codes: Iterable[str]) -> bool:
    """Tell whether the request keeps to the published schema, so that it is answered 422 and not 400."""
    return all(code in _RULES for code in codes)


def in_body(detail: Any) -> list[dict[str, Any]]:
    """Give the faults of a body."""
    return [
        {"pointer": pointer(path), "code": str(error.code), "detail": str(error)} for path, error in flatten(detail)
    ][:100]


def in_query(detail: Any) -> list[dict[str, Any]]:
    """Give the faults of an address."""
    return [
        {"parameter": str(path[0]) if path else "", "code": str(error.code), "detail": str(error)}
        for path, error in flatten(detail)
    ][:100]


def of_refusal(faults: Sequence[Fault], place: Callable[[Path], dict[str, str]] | None = None) -> list[dict[str, Any]]:
    """Give the faults that a service found; ``place`` names where each stands, in the body if it is left out."""
    named = place or place_in_body
    return [{**named(fault.path), "code": fault.code, "detail": fault.detail} for fault in faults[:100]]


def place_in_body(path: Path) -> dict[str, str]:
    """Name a place of a body."""
    return {"pointer": pointer(path)}


#: A body of these is a table, and has no members.
_TABLES: Final = {CSV, XLSX}


def place_in(request: Request) -> Callable[[Path], dict[str, str]]:
    """Give how places are named that a service found at fault: it knows what was said, not where in the request.

    Without a body, or beside a table, everything was said in the address; else what the address names was said there.
    """
    beside_a_table = (request.content_type or "").partition(";")[0].strip().lower() in _TABLES
    all_in_address = request.method in {"GET", "HEAD", "DELETE"} or beside_a_table

    def place(path: Path) -> dict[str, str]:
        name = path[0] if path else ""
        if name == "file" and beside_a_table:  # as a form calls what is the whole body here
            return place_in_body(())
        if not isinstance(name, str) or not (all_in_address or name in request.query_params):
            return place_in_body(path)
        return {"parameter": name} if name else {}

    return place
