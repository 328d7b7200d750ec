"""JSON, strictly: UTF-8, one meaning, bounded depth, numbers that keep their digits."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import IO, Any, Final

from rest_framework.exceptions import ErrorDetail, ParseError, ValidationError
from rest_framework.parsers import BaseParser

from vineyard.api.faults import Path

DEEPEST: Final = 32
LONGEST_NUMBER: Final = 30
#: What no text and no name may hold: NUL, lone surrogates.
_NEVER: Final = re.compile("[\x00\ud800-\udfff]")
_BRACKETS: Final = re.compile(rb'"(?:[^"\\]|\\.)*"?|[\[\]{}]', re.DOTALL)


class MalformedJSON(ParseError):
    """The body is not one JSON document."""

    default_code = "malformed_json"


class StrictJSONParser(BaseParser):
    """Parse a JSON body, or say where it is wrong.

    It is no subclass of Django REST framework's parser, which lets the last of two equal names win and dies
    of deep nesting.
    """

    media_type = "application/json"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,  # noqa: ARG002
        parser_context: Mapping[str, Any] | None = None,  # noqa: ARG002
    ) -> Any:
        body = stream.read()
        if not body.strip():
            raise MalformedJSON("The body is empty. Send a JSON document.")
        if body.startswith(b"\xef\xbb\xbf"):
            raise MalformedJSON("The body starts with a byte order mark. Send UTF-8 without one.")
        _check_depth(body)
        document = _document(body)
        _check_text(document)
        return document


def _document(body: bytes) -> Any:
    try:
        return json.loads(
            body.decode("utf-8"),
            object_pairs_hook=_object,
            parse_float=_number,
            parse_int=_integer,
            parse_constant=_no_number,
        )
    except UnicodeDecodeError as error:
        raise MalformedJSON(f"The body is not UTF-8: byte {error.start} cannot be read.") from error
    except json.JSONDecodeError as error:
        raise MalformedJSON(f"Line {error.lineno}, column {error.colno}: {error.msg}.") from error


def _check_depth(body: bytes) -> None:
    """Refuse deep nesting before anything recursive meets it."""
    depth = 0
    for token in _BRACKETS.finditer(body):
        mark = token[0][:1]
        if mark in b"[{":
            depth += 1
            if depth > DEEPEST:
                raise MalformedJSON(f"The body is nested more than {DEEPEST} levels deep.")
        elif mark in b"]}":
            depth -= 1


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise MalformedJSON(f"The member {twice[:80]!r} stands twice in one object. Send it once.")
    return members


def _number(digits: str) -> Decimal:
    number = Decimal(digits)
    if len(digits) > LONGEST_NUMBER or (number and not -30 < number.adjusted() < 30):
        raise MalformedJSON(
            f"The number {digits[:40]} has more digits, or is larger or smaller, than anything measured."
        )
    return number


def _integer(digits: str) -> int:
    if len(digits) > LONGEST_NUMBER:
        raise MalformedJSON(f"The number {digits[:40]}… has too many digits.")
    return int(digits)


def _no_number(word: str) -> Any:
    raise MalformedJSON(f"{word} is no number in JSON. Leave the member out, or send null, for what was not measured.")


def _check_text(value: Any, path: Path = ()) -> None:
    """Refuse characters that the database or another reader would choke on, wherever they stand."""
    if isinstance(value, str):
        if _NEVER.search(value):
            raise ValidationError(_at(path, "The text holds a null character or half a character. Remove it."))
        return
    items: Iterable[tuple[str | int, Any]] = ()
    if isinstance(value, dict):
        items = value.items()
    elif isinstance(value, list):
        items = enumerate(value)
    for name, inner in items:
        if isinstance(name, str) and _NEVER.search(name):
            raise ValidationError(_at(path, "A member's name holds a null character or half a character."))
        _check_text(inner, (*path, name))


def _at(path: Path, sentence: str) -> Any:
    """Nest the sentence as Django REST framework nests errors, so that its place becomes a pointer."""
    nested: Any = [ErrorDetail(sentence, "hidden")]
    for step in reversed(path):
        nested = {step: nested}
    return nested
