"""The OpenAPI document: what Django REST framework cannot know, and the completeness of every operation."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter

from records.api import idempotency
from records.api.views import CallerView
from vineyard.api import schema_fields  # noqa: F401 - drf-spectacular finds them by their import
from vineyard.api.deprecating import mark_deprecated
from vineyard.api.problems import BY_STATUS, CONTENT_TYPE, KINDS, problem

TAGS: Final = {
    "farms": "Who calls, the farms that their key opens, and the people of a farm.",
    "consent": "Whom a farm lets in beyond its own people, for what, and what they looked at.",
    "keys": "The keys by which a person, and apps in their name, call.",
    "programs": "Programs that bring many growers' data together.",
    "blocks and vines": "Where the vines stand.",
    "dormant records": "The winter's weighing and count, with the target and the verdict.",
    "bud samples": "Which buds lived through the cold.",
    "shoots and clusters": "Counts from budburst to thinning.",
    "harvest": "What the vines, or the block, bore.",
    "cordons and vines": "The permanent wood and the plant, seen anew each time.",
    "records in bulk": "Many records of any kind at once, with a result for each.",
    "changes": "What was stored, changed and withdrawn since you last asked.",
    "targets": "Pruning targets: for a whole block, or without storing anything.",
    "sampling": "How many vines to weigh, which, and what their weights say of the rest.",
    "yield and thinning": "What the clusters will bring, and how many to leave.",
    "crop load and vine size": "Whether the crop and the wood of a vine were in balance, and how its size moves.",
    "summaries": "What many vines, blocks and farms come to, kept current: for dashboards.",
    "reports": "Season-end reports, made in the background, and whom they are announced to.",
    "cordons": "Cordons to replace, followed from what was noticed to the arm that bears.",
    "imports": "Files of vines, taken in line by line.",
    "jobs": "Work that nobody waits for.",
    "exports": "Everything of a farm, to take out, and the farm itself, to erase.",
    "catalogues": "Cultivars, formulas and units, each with its source.",
}
_IF_MATCH: Final = OpenApiParameter(
    "If-Match",
    {"type": "string", "pattern": r'^(\*|"[0-9]{1,9}")$', "example": '"1"'},
    OpenApiParameter.HEADER,
    required=True,
    description='The ETag that you read, e.g. `"1"`; `*` changes whichever version stands.',
)
_IDEMPOTENCY_KEY: Final = OpenApiParameter(
    idempotency.HEADER,
    {"type": "string", "pattern": idempotency.PATTERN},
    OpenApiParameter.HEADER,
    description=(
        "A key of your own for this request, bare or in double quotes, e.g. a new UUID: sent again within 30 days, the "
        "request does nothing and is given the same answer, with `Idempotent-Replayed: true`. Under the same key, "
        "another content is refused (422), a second request while the first is worked on is told to wait (409), and "
        "what was refused may be mended. A create with an `id` of your own needs no key."
    ),
)


_IF_NONE_MATCH: Final = {
    "name": "If-None-Match",
    "in": "header",
    "required": False,
    "schema": {"type": "string"},  # whatever it is: what matches nothing is no error (RFC 9110, section 13.1.2)
    "description": "The ETag of the answer that you have: while it still stands, the answer is 304 and has no body.",
}


class ApiSchema(AutoSchema):
    """Adds what our views have in common: paging parameters and ``If-Match``."""

    def get_override_parameters(self) -> list[Any]:
        changes = getattr(self.view, "takes_if_match", self.method in {"PATCH", "DELETE"})
        repeats = self.method in idempotency.METHODS and isinstance(self.view, CallerView)
        return [*([_IF_MATCH] if changes else []), *([_IDEMPOTENCY_KEY] if repeats else [])]

    def get_tags(self) -> list[str]:
        return ["service"]


class IncompleteOperation(Exception):
    """An operation lacks something that its readers need."""


def complete_operations(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:  # noqa: ARG001
    """Add the problems and headers that every operation shares, and refuse an operation that explains too little."""
    components = result.setdefault("components", {})
    components.setdefault("schemas", {})["Problem"] = _PROBLEM
    components["responses"] = {kind.code: _response(kind.code) for kind in KINDS.values()}
    result["tags"] = [{"name": name, "description": text} for name, text in TAGS.items()]
    result["info"] |= {
        "license": {"name": "See the README", "url": "/"},
        "contact": {"name": "The operators"},
    }
    for path, method, operation in _operations(result):
        _check(path, method, operation)
        if operation.get("requestBody"):
            operation["requestBody"]["required"] = True  # a change of nothing is refused, so that it is no slip
        for code in _problems_of(path, method, operation):
            status = str(KINDS[code].status)
            operation["responses"].setdefault(status, {"$ref": f"#/components/responses/{code}"})
        for status, response in operation["responses"].items():
            if status.startswith("2"):
                response["headers"] = _headers(path, status, _body_schema(components, response))
        if "304" in operation["responses"]:
            _complete_what_is_kept(operation)
        operation["responses"] = dict(sorted(operation["responses"].items()))
    _leave_out_what_nobody_answers(result)
    mark_deprecated(result)
    return result


def _leave_out_what_nobody_answers(result: dict[str, Any]) -> None:
    """Keep of the shared answers those that some operation gives; a reader would look for the others in vain."""
    answers = [answer for _, _, operation in _operations(result) for answer in operation["responses"].values()]
    named = {answer.get("$ref", "").rpartition("/")[2] for answer in answers}
    shared = result["components"]["responses"]
    result["components"]["responses"] = {code: answer for code, answer in shared.items() if code in named}


def _operations(result: Mapping[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, item in result["paths"].items():
        for method, operation in item.items():
            yield path, method, operation


def _check(path: str, method: str, operation: Mapping[str, Any]) -> None:
    for member in ("summary", "description"):
        if not operation.get(member):
            raise IncompleteOperation(f"{method.upper()} {path} has no {member}")
    if "204" not in operation["responses"] and not _has_example(operation["responses"].values()):
        raise IncompleteOperation(f"{method.upper()} {path} shows no example of its answer")
    body = operation.get("requestBody")
    if body and not _has_example([body]):
        raise IncompleteOperation(f"{method.upper()} {path} shows no example of its body")


def _has_example(parts: Any) -> bool:
    return any("examples" in media for part in parts for media in part.get("content", {}).values())


def _problems_of(path: str, method: str, operation: Mapping[str, Any]) -> Iterator[str]:
    yield from ("validation_error", "method_not_allowed", "not_acceptable", "internal_error", "unavailable")
    yield "too_many_requests"
    if operation.get("security") != [{}] and operation.get("security"):
        yield from ("not_authenticated", "not_allowed")
    if path.endswith("/changes"):
        yield "cursor_expired"
    if path.endswith(("/file", "/files/{form}", "/report-links/{token}")):  # made by a job, and kept for a time
        yield from ("conflict", "expired")
    if path.endswith("/document") or "/reports/{report}/charts/" in path:  # of a report that may not be made yet
        yield "conflict"
    if "{" in path:
        yield "not_found"
    if method in {"post", "patch", "put"}:
        yield from ("too_slow", "conflict", "length_required", "too_large", "unsupported_media_type", "not_valid")
    of_a_block = "/blocks/{block}/" in path and operation["tags"] != ["blocks and vines"]
    computed = operation.get("tags") in (["cordons"], ["summaries"])
    if of_a_block or computed or path.endswith(("/pruner-calibration", "/shrunken-means", "/vine-map")):
        yield "not_valid"  # computed from records, of which there may be none, or more than are answered at once
    if method == "delete":
        yield "conflict"
    if any(parameter.get("name") == "If-Match" for parameter in operation.get("parameters", [])):
        yield from ("stale", "precondition_required")


def _complete_what_is_kept(operation: dict[str, Any]) -> None:
    """Name the headers by which whoever has an answer is told that it still stands."""
    operation.setdefault("parameters", []).append(_IF_NONE_MATCH)
    tag = {"ETag": _header("Of what the answer says: send it back as If-None-Match.")}
    operation["responses"]["200"]["headers"] |= tag
    operation["responses"]["304"]["headers"] = {"X-Request-ID": _REQUEST_ID, **_LIMITS, **tag}


def _body_schema(components: Mapping[str, Any], response: Mapping[str, Any]) -> Mapping[str, Any]:
    """Give the members of an answer's JSON body."""
    schema = response.get("content", {}).get("application/json", {}).get("schema", {})
    name = schema.get("$ref", "").rpartition("/")[2]
    members: Mapping[str, Any] = components["schemas"].get(name, schema).get("properties", {})
    return members


def _headers(path: str, status: str, members: Mapping[str, Any]) -> dict[str, Any]:
    headers: dict[str, Any] = {"X-Request-ID": _REQUEST_ID, **_LIMITS}
    if status == "201" and not path.endswith(_WITHOUT_AN_ADDRESS):
        headers["Location"] = _header("Address of what was created.")
    if "version" in members:
        headers["ETag"] = _header('Version of the record, e.g. `"1"`: send it back as If-Match to change it.')
    if status == "202":
        headers["Location"] = _header("Where to look how far it is.")
        headers["Retry-After"] = _header("Seconds until it is worth asking again.")
    if {"results", "next"} <= members.keys():
        headers["Link"] = _header("The pages that the answer names: next and previous (RFC 8288).")
    return headers


#: A row of a block stands among the block's rows; a link is told once, in the body.
_WITHOUT_AN_ADDRESS: Final = ("/rows", "/links")


def _header(description: str) -> dict[str, Any]:
    return {"description": description, "schema": {"type": "string"}}


_REQUEST_ID: Final = _header("Names this request in logs and problems.")
_LIMITS: Final = {
    "RateLimit-Policy": _header('How much may be asked: `"key";q=24000;w=60` is 24,000 requests in 60 seconds.'),
    "RateLimit": _header('What is left of it: `"key";r=23999;t=1`, all of it again in a second.'),
}


def _response(code: str) -> dict[str, Any]:
    kind = KINDS[code]
    example = problem(
        kind,
        kind.explanation,
        instance="/api/v1/farms",
        request_id="01991b5e-0000-7000-8000-00000000f00d",
        errors=_EXAMPLES_OF_ERRORS.get(code),
    )
    response: dict[str, Any] = {
        "description": kind.title,
        "content": {
            CONTENT_TYPE: {
                "schema": {"$ref": "#/components/schemas/Problem"},
                "examples": {kind.code: {"value": example}},
            }
        },
    }
    if kind.status in {429, 503}:
        response["headers"] = {"Retry-After": _header("Seconds until it is worth asking again.")}
    if kind.status == 429:
        response["headers"] |= _LIMITS
    if kind.status == 405:
        response["headers"] = {"Allow": _header("The methods that the address takes.")}
    if kind.status == 401:
        response["headers"] = {"WWW-Authenticate": _header("How to authenticate.")}
    return response


_EXAMPLES_OF_ERRORS: Final = {
    "validation_error": [
        {"pointer": "#/wieght", "code": "unknown_member", "detail": "'wieght' is no member here."},
        {"parameter": "limit", "code": "invalid", "detail": "Send a whole number from 1 to 500."},
    ],
    "not_valid": [
        {"pointer": "#/pruning_weight", "code": "out_of_range", "detail": "The prunings of one vine weigh up to 50 kg."}
    ],
    "precondition_required": [
        {"header": "If-Match", "code": "precondition_required", "detail": "Send the ETag that you read."}
    ],
}
_PROBLEM: Final = {
    "type": "object",
    "description": "What went wrong, by RFC 9457.",
    "required": ["type", "title", "status", "code", "detail", "instance", "request_id"],
    "properties": {
        "type": {"type": "string", "description": "Address of a page about this kind of problem."},
        "title": {"type": "string"},
        "status": {"type": "integer", "enum": sorted(BY_STATUS)},
        "code": {"type": "string", "enum": sorted(KINDS), "description": "Stable; switch on this."},
        "detail": {"type": "string", "description": "What went wrong this time, and the way out."},
        "instance": {"type": "string"},
        "request_id": {"type": "string"},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["code", "detail"],
                "properties": {
                    "pointer": {
                        "type": "string",
                        "description": "Place in the body, a JSON Pointer fragment.",
                    },
                    "parameter": {"type": "string", "description": "Parameter of the address."},
                    "header": {"type": "string", "description": "Header of the request."},
                    "code": {"type": "string"},
                    "detail": {"type": "string"},
                },
            },
        },
        "current_version": {"type": "integer", "description": "Version that stands."},
        "current": {
            "type": ["object", "null"],
            "description": "The record that stands in the way, where it is yours.",
        },
    },
    "additionalProperties": True,
}
