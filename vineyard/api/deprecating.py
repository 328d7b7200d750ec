"""Tell whoever uses what is deprecated, mark it in the OpenAPI document, and count its use."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, Final

from django.http import HttpRequest, HttpResponseBase
from rest_framework.exceptions import APIException

from vineyard import metrics
from vineyard.api import deprecations
from vineyard.api.deprecations import OPERATION, PARAMETER, REQUEST, Deprecation, deprecated_of
from vineyard.api.routes import template_of

Handler = Callable[[HttpRequest], HttpResponseBase]


class TellDeprecations:
    """Add ``Deprecation``, ``Sunset`` and ``Link`` to the answer to a request that uses what is deprecated."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        match = request.resolver_match
        if deprecations.REGISTRY and match is not None:
            method, route = metrics.method_of(request.method), template_of(match.route)
            used = [each for each in deprecated_of(method, route) if _uses(request, response, each)]
            for each in used:
                metrics.count_deprecated(route, method, each.what)
            if used:
                _tell(response, used, match.kwargs)
        return response


def _tell(response: HttpResponseBase, used: Sequence[Deprecation], parameters: Mapping[str, Any]) -> None:
    """Write the headers; of several things, the first notice and the first end count."""
    response["Deprecation"] = min(used, key=lambda each: each.since).deprecation_field
    response["Sunset"] = min(used, key=lambda each: each.sunset).sunset_field
    links = [link for each in used for link in each.links(**parameters)]
    paging = [response["Link"]] if response.has_header("Link") else []
    response["Link"] = ", ".join([*paging, *dict.fromkeys(links)])


def _uses(request: HttpRequest, response: HttpResponseBase, each: Deprecation) -> bool:
    """Tell whether a request uses it: an operation by being sent, a parameter or member by being there."""
    if each.part == OPERATION:
        return True
    if each.part == PARAMETER:
        return each.name in (request.headers if each.name[0].isupper() else request.GET)
    document = _sent(response) if each.part == REQUEST else getattr(response, "data", None)
    return response.status_code < 500 and _holds(document, each.name.split("/"))


def _sent(response: HttpResponseBase) -> Any:
    """Give the document that the view has read; nothing where it came to none."""
    seen = (getattr(response, "renderer_context", None) or {}).get("request")
    try:
        return None if seen is None else seen.data
    except APIException:
        return None


def _holds(document: Any, path: Sequence[str]) -> bool:
    if not path:
        return True
    if path[0] == "*":
        return isinstance(document, list | tuple) and any(_holds(each, path[1:]) for each in document)
    return isinstance(document, Mapping) and path[0] in document and _holds(document[path[0]], path[1:])


class NothingLikeIt(Exception):
    """An entry names what the OpenAPI document does not have, before its sunset."""


def mark_deprecated(document: dict[str, Any]) -> None:
    """Mark in the OpenAPI document what is deprecated; what is gone since its sunset is passed over.

    A member of a component is marked wherever the component stands.

    Raises
    ------
    NothingLikeIt
        An entry is wrong, or what it names went too soon.
    """
    for each in deprecations.REGISTRY:
        marked = list(_places(document, each))
        for place in marked:
            place["deprecated"] = True
            place["description"] = " ".join(filter(None, [place.get("description", ""), each.sentence]))
        if not marked and not each.is_over(datetime.now(UTC)):
            raise NothingLikeIt(f"{each.operation} has no {each.what}, but its sunset is yet to come.")


def _places(document: dict[str, Any], each: Deprecation) -> Iterator[dict[str, Any]]:
    method, _, address = each.operation.partition(" ")
    operation = document["paths"].get(address, {}).get(method.lower())
    if operation is None:
        return
    for status, answer in operation["responses"].items():
        if status.startswith("2") and "$ref" not in answer:
            answer.setdefault("headers", {}).update(_HEADERS)
    if each.part == OPERATION:
        yield operation
    elif each.part == PARAMETER:
        yield from (found for found in operation.get("parameters", []) if found["name"] == each.name)
    else:
        bodies = [operation.get("requestBody", {})] if each.part == REQUEST else _answers(operation)
        seen: list[int] = []
        for body in bodies:
            for media in body.get("content", {}).values():
                for member in _members(document, media.get("schema", {}), each.name.split("/")):
                    if id(member) not in seen:
                        seen.append(id(member))
                        yield member


def _answers(operation: Mapping[str, Any]) -> list[Any]:
    return [answer for status, answer in operation["responses"].items() if status.startswith("2")]


def _members(document: Mapping[str, Any], schema: dict[str, Any], path: Sequence[str]) -> Iterator[dict[str, Any]]:
    """Give the schema of a member, in each form that its owner may have."""
    if "$ref" in schema and path:
        name = schema["$ref"].rpartition("/")[2]
        yield from _members(document, document["components"]["schemas"][name], path)
        return
    if not path:
        yield schema
        return
    for form in (part for word in ("allOf", "oneOf", "anyOf") for part in schema.get(word, [])):
        yield from _members(document, form, path)
    inner = schema.get("items") if path[0] == "*" else schema.get("properties", {}).get(path[0])
    if inner is not None:
        yield from _members(document, inner, path[1:])


def _header(description: str) -> dict[str, Any]:
    return {"description": description, "schema": {"type": "string"}}


_HEADERS: Final = {
    "Deprecation": _header("Where the request uses what is deprecated: since when (RFC 9745), e.g. `@1688169599`."),
    "Sunset": _header("Where the request uses what is deprecated: from when on it may be gone (RFC 8594)."),
}
