"""One cell of the matrix: a person, a slot, and two requests that differ in nothing but the id in the slot."""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import Any

from django.db import transaction

from tests.access.slots import Slot, with_id
from tests.test_access_matrix import MATRIX, Case, Scene

#: Differ from one request to the next whatever was asked.
_PASSING_HEADERS = {"X-Request-ID", "Content-Length", "RateLimit"}
_UUID = re.compile(rb"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.IGNORECASE)
_PASSING = re.compile(rb'"(?:request_id|instance)":"[^"]*"|\d{4}-\d\d-\d\dT[0-9:.]+Z|[?&]cursor=[^">]*')


@dataclass
class Person:
    """Who sends: with which key, from which farm of theirs, and which farm is foreign to them."""

    name: str
    client: Any = field(repr=False)
    home: Scene
    foreign: Scene
    received: list[bytes] = field(default_factory=list, repr=False)


def answer_with(person: Person, slot: Slot, scene: Scene, value: Any) -> Any:
    """Send the operation's request from a scene, with one id in the slot; nothing of it stays."""
    case = MATRIX[slot.method, slot.route]
    address, kwargs = _request(case, slot, scene, value)
    with undone():
        answer = getattr(person.client, slot.method.lower())(address, **kwargs)
        content = b"".join(answer.streaming_content) if answer.streaming else answer.content
    headers = " ".join(f"{name}: {text}" for name, text in answer.headers.items())
    person.received += [content, headers.encode()]
    answer.all_of_it = content
    return answer


def _request(case: Case, slot: Slot, scene: Scene, value: Any) -> tuple[str, dict[str, Any]]:
    ids = {**scene.ids, **case.ids}
    ids |= {slot.name: value} if slot.place == "path" else {}
    body = case.body(replace(scene, ids=ids)) if case.body else None
    if slot.place == "body":
        body = with_id(body or {}, slot.path, value)
    if (
        body is not None and slot.name == "inspection" and slot.route.endswith("/cordon-cases")
    ):  # an inspection shows its own vine alone
        body["vine"] = scene.ids["inspected_vine"]
    query = [case.query] if case.query else []
    query += [f"{slot.name}={value}"] if slot.place == "query" else []
    address = "/" + slot.route.format(**ids) + (f"?{'&'.join(query)}" if query else "")
    kwargs: dict[str, Any] = {"headers": {"If-Match": "*"} if case.if_match else {}}
    if body is not None:
        kwargs["data"] = body
        kwargs |= {"format": "json"} if case.content_type == "application/json" else {"content_type": case.content_type}
    return address, kwargs


@contextmanager
def undone() -> Iterator[None]:
    """Take back whatever a request wrote, with the context that it set."""
    with transaction.atomic():
        mark = transaction.savepoint()
        yield
        transaction.savepoint_rollback(mark)


def foreign_and_missing(person: Person, slot: Slot) -> tuple[Any, Any]:
    """Give the answers to the same request with a foreign id and with one that never existed, ids left out."""
    ids = (person.foreign.ids[_kind_of(slot)], uuid.uuid4())
    scenes = [person.home, person.home]
    if slot.name == "farm" and slot.place == "path":  # all of the address is the foreign farm's
        scenes[0] = replace(person.home, ids=person.foreign.ids)
    foreign, missing = (
        _comparable(answer_with(person, slot, scene, value), value) for scene, value in zip(scenes, ids, strict=True)
    )
    return foreign, missing


def _kind_of(slot: Slot) -> str:
    """Give the name under which a scene keeps such ids; the id of a new record is that of one on record."""
    if slot.name != "id":
        return {"farms": "farm"}.get(slot.name, slot.name)
    made = {"farms": "farm", "blocks": "block", "rows": "row", "vines": "vine", "consents": "consent", "keys": "key"}
    made |= {"range-choices": "choice", "cordon-cases": "case", "cordon-settings": "settings", "steps": "step"}
    return made.get(slot.route.rpartition("/")[2], "record")


def own_id(slot: Slot, scene: Scene) -> Any:
    """Give the id of the sender's own that makes the request good; a new record takes a new one."""
    return uuid.uuid4() if slot.name == "id" else scene.ids[_kind_of(slot)]


def _comparable(answer: Any, value: uuid.UUID) -> tuple[int, bytes, dict[str, str]]:
    content = _PASSING.sub(b"", answer.all_of_it.replace(str(value).encode(), b"<the id>"))
    if answer.status_code < 400:  # what was just made bears ids of its own
        content = _UUID.sub(b"<an id>", content)
    headers = {
        name: _UUID.sub(b"<an id>", text.encode()).decode()
        for name, text in answer.headers.items()
        if name not in _PASSING_HEADERS
    }
    return answer.status_code, content, headers
