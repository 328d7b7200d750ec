"""JSON, strictly: UTF-8, one meaning, bounded depth, numbers that keep their digits, text that hides nothing."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from rest_framework.exceptions import ParseError, ValidationError

from records.errors import Fault

DEEPEST: Final = 32
LONGEST_NUMBER: Final = 30
#: No scale has more, and no binary float (IEEE 754 double) writes more.
MOST_DIGITS: Final = 17
#: NUL and the other control characters but newline and tab, bidirectional overrides, lone surrogates.
_HIDDEN: Final = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
# Possessive: a plain group would keep a way back for every character, 280 MB for one text of 2.4 MB (measured).
_BRACKETS: Final = re.compile(rb'"[^"\\]*+(?:\\.[^"\\]*+)*+"?|[\[\]{}]', re.DOTALL)

Path = tuple[str | int, ...]


class MalformedJSON(ParseError):
    """The body is not one JSON document."""

    default_code = "malformed_json"


class UnfitValues(ValidationError):
    """The body is one JSON document, but holds values that no member may hold, each at its place."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        super().__init__([fault.detail for fault in faults])
        self.faults = faults


@dataclass(frozen=True)
class _Unfit:
    """Stands in the document for a value that cannot be taken, until its place is known."""

    code: str
    sentence: str


def document_of(body: bytes) -> Any:
    """Give the JSON document that the bytes are.

    Raises
    ------
    MalformedJSON
        They are not one JSON document in UTF-8, or it is nested too deep.
    UnfitValues
        A member stands twice, a number is none or has too many digits, a text hides characters.
    """
    if not body.strip():
        raise MalformedJSON("The body is empty. Send a JSON document.")
    if body.startswith(b"\xef\xbb\xbf"):
        raise MalformedJSON("The body starts with a byte order mark. Send UTF-8 without one.")
    _check_depth(body)
    document = _read(body)
    faults = tuple(_faults(document, ()))
    if faults:
        raise UnfitValues(faults[:100])
    return document


def _read(body: bytes) -> Any:
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
        for name, times in Counter(name for name, _ in pairs).items():
            if times > 1:
                members[name] = _Unfit("duplicate_member", "The member stands here more than once. Send it once.")
    return members


def _number(digits: str) -> Decimal | _Unfit:
    if len(digits) > LONGEST_NUMBER:
        return _Unfit("too_many_digits", f"The number {digits[:40]} has more digits than anything measured.")
    number = Decimal(digits)
    if number and not -30 < number.adjusted() < 30:
        return _Unfit("out_of_range", f"The number {digits} is larger or smaller than anything measured.")
    if len(number.normalize().as_tuple().digits) > MOST_DIGITS:
        return _Unfit("too_many_digits", f"The number {digits} has more than {MOST_DIGITS} digits. Round it.")
    return number


def _integer(digits: str) -> int | _Unfit:
    if len(digits) > LONGEST_NUMBER:
        return _Unfit("too_many_digits", f"The number {digits[:40]}… has too many digits.")
    return int(digits)


def _no_number(word: str) -> _Unfit:
    sentence = f"{word} is no number in JSON. Leave the member out, or send null, for what was not measured."
    return _Unfit("not_a_number", sentence)


def _faults(value: Any, path: Path) -> Iterator[Fault]:
    """Find what stands for an unfit value, and the characters that the database or a reader would choke on."""
    if isinstance(value, _Unfit):
        yield Fault(path, value.code, value.sentence)
    elif isinstance(value, str):
        yield from _hidden(value, path, "The text")
    else:
        for name, inner in _items(value):
            hidden = list(_hidden(name, path, "A member's name")) if isinstance(name, str) else []
            yield from hidden or _faults(inner, (*path, name))


def _items(value: Any) -> Iterable[tuple[str | int, Any]]:
    if isinstance(value, dict):
        return value.items()
    return enumerate(value) if isinstance(value, list) else ()


def _hidden(text: str, path: Path, what: str) -> Iterator[Fault]:
    found = _HIDDEN.search(text)
    if found:
        character = f"U+{ord(found[0]):04X}"
        yield Fault(path, "hidden", f"{what} holds a character that cannot be seen or typed ({character}). Remove it.")
