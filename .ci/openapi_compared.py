"""Compare two OpenAPI documents: say what a client that was written by the old one may not rest on any more.

Whatever it may send must still be taken, and whatever it is answered must be what the old document told of.  More may
be taken, and more may be answered.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

Schema = Mapping[str, Any]
#: What a schema says of an answer when words may be added to its list later on.
OPEN: Final = "may be more in later versions"
_METHODS: Final = ("get", "post", "put", "patch", "delete", "head", "options")
#: Bounds of what is sent: a greater lower bound, or a lesser upper one, refuses what was taken before.
_LOWER: Final = ("minimum", "exclusiveMinimum", "minLength", "minItems", "minProperties")
_NONE: Final = {"minLength": 0, "minItems": 0, "minProperties": 0}
_UPPER: Final = ("maximum", "exclusiveMaximum", "maxLength", "maxItems", "maxProperties")
_SHAPES: Final = ("pattern", "format", "multipleOf", "uniqueItems", "contentEncoding")
_ANYTHING: Final = frozenset({"string", "number", "integer", "boolean", "object", "array", "null"})


@dataclass(frozen=True)
class Break:
    """One thing that a client may rest on and that is so no more."""

    operation: str
    part: str
    name: str
    says: str

    def __str__(self) -> str:
        return f"{self.operation}: {' '.join(filter(None, [self.part, self.name]))}: {self.says}"


def breaks(old: Mapping[str, Any], new: Mapping[str, Any]) -> Iterator[Break]:
    """Give every break between two documents, operation by operation."""
    for address, item in old["paths"].items():
        for method in (each for each in _METHODS if each in item):
            operation = f"{method.upper()} {address}"
            now = new["paths"].get(address, {}).get(method)
            if now is None:
                yield Break(operation, "operation", "", "is gone")
            else:
                for part, name, says in _Compared(old, new).operations(item[method], now):
                    yield Break(operation, part, name, says)


Found = Iterator[tuple[str, str, str]]
#: Where a member stands, and what is wrong with it.
Wrong = Iterator[tuple[str, str]]


class _Compared:
    """Two documents; their components are looked up where a schema names them."""

    def __init__(self, old: Mapping[str, Any], new: Mapping[str, Any]) -> None:
        self.old, self.new = old, new
        self._under_way: set[tuple[str | int, str | int, bool]] = set()

    # --- One operation -----------------------------------------------------------------------------------------

    def operations(self, old: Mapping[str, Any], new: Mapping[str, Any]) -> Found:
        if not _lets_in(old, new):
            yield "operation", "", "asks for more than before to let somebody in"
        yield from self._parameters(old, new)
        yield from self._bodies(old.get("requestBody"), new.get("requestBody"))
        yield from self._answers(old["responses"], new["responses"])

    def _parameters(self, old: Mapping[str, Any], new: Mapping[str, Any]) -> Found:
        before, after = (
            {(each["in"], each["name"]): each for each in map(find, operation.get("parameters", []))}
            for operation, find in ((old, self._found_old), (new, self._found_new))
        )
        for key, was in before.items():
            now = after.get(key)
            if now is None:
                yield "parameter", key[1], "is gone"
                continue
            for word, usual in (("style", None), ("explode", None)):
                if was.get(word, usual) != now.get(word, usual):
                    yield "parameter", key[1], f"is written in another {word}"
            if now.get("required") and not was.get("required"):
                yield "parameter", key[1], "is required now"
            for where, says in self._taken(was.get("schema", {}), now.get("schema", {}), ""):
                yield "parameter", key[1], f"{where} {says}".strip()
        for key in after.keys() - before.keys():
            if after[key].get("required"):
                yield "parameter", key[1], "is new and required"

    def _bodies(self, old: Mapping[str, Any] | None, new: Mapping[str, Any] | None) -> Found:
        old, new = self._found_old(old or {}), self._found_new(new or {})
        if new.get("required") and not old.get("required"):
            yield "request", "", "a body is required now"
        for media, was in old.get("content", {}).items():
            now = new.get("content", {}).get(media)
            if now is None:
                yield "request", "", f"{media} is taken no more"
            else:
                for where, says in self._taken(was.get("schema", {}), now.get("schema", {}), ""):
                    yield "request", where, says

    def _answers(self, old: Mapping[str, Any], new: Mapping[str, Any]) -> Found:
        for status, answer in old.items():
            was, now = self._found_old(answer), new.get(status)
            if now is None:
                if status.startswith("2"):
                    yield "response", "", f"{status} is answered no more"
                continue
            now = self._found_new(now)
            for header in was.get("headers", {}).keys() - now.get("headers", {}).keys():
                yield "response", "", f"the header {header} of {status} is gone"
            for media, content in was.get("content", {}).items():
                shown = now.get("content", {}).get(media)
                if shown is None:
                    yield "response", "", f"{media} of {status} is gone"
                    continue
                for where, says in self._told(content.get("schema", {}), shown.get("schema", {}), ""):
                    yield "response", where, f"{says} ({status})" if status[0] != "2" else says

    # --- What is sent: all that was taken is taken still ---------------------------------------------------------

    def _taken(self, old: Schema, new: Schema, where: str) -> Wrong:
        yield from self._once(old, new, where, sent=True)

    def _of_sent(self, was: Schema, now: Schema, where: str) -> Wrong:
        gone = _types(was) - _types(now) - ({"integer"} if "number" in _types(now) else set())
        if gone:
            yield where, f"is no {_listed(gone)} any more"
        narrower = _words(now) is not None and (_words(was) is None or set(_words(was)) - set(_words(now)))
        if narrower:
            lost = set(_words(was) or ()) - set(_words(now))
            yield where, f"takes {_listed(lost)} no more" if lost else "takes words of a list alone"
        for bound, tighter in [*((b, float.__gt__) for b in _LOWER), *((b, float.__lt__) for b in _UPPER)]:
            before = was.get(bound, _NONE.get(bound))
            if bound in now and (before is None or tighter(float(now[bound]), float(before))):
                yield where, f"{bound} is {now[bound]}, was {was.get(bound, 'none')}"
        for shape in _SHAPES:
            if now.get(shape) and now[shape] != was.get(shape):
                yield where, f"{shape} is {now[shape]!r}, was {was.get(shape, 'none')!r}"
        for name in sorted(set(now.get("required", [])) - set(was.get("required", []))):
            yield _at(where, name), "is required now"
        if now.get("additionalProperties") is False and was.get("additionalProperties", True) is not False:
            yield where, "takes no other members any more"
        yield from self._members(was, now, where, self._taken)

    # --- What is answered: nothing that was not told of ----------------------------------------------------------

    def _told(self, old: Schema, new: Schema, where: str) -> Wrong:
        yield from self._once(old, new, where, sent=False)

    def _of_answered(self, was: Schema, now: Schema, where: str) -> Wrong:
        other = _types(now) - _types(was) - ({"integer"} if "number" in _types(was) else set())
        if other:
            yield where, f"may be {_listed(other)} now"
        if _words(was) is not None and OPEN not in str(was.get("description", "")):
            if _words(now) is None:
                yield where, "may be any word now"
            elif set(_words(now)) - set(_words(was)):
                yield where, f"may be {_listed(set(_words(now)) - set(_words(was)))} now"
        for shape in ("format", "pattern", "contentEncoding"):
            if was.get(shape) and now.get(shape) != was[shape]:
                yield where, f"{shape} is {now.get(shape, 'none')!r}, was {was[shape]!r}"
        for name in sorted(set(was.get("required", [])) - set(now.get("required", []))):
            if name in now.get("properties", {}):
                yield _at(where, name), "may be missing now"
        yield from self._members(was, now, where, self._told)

    # --- Both ways -----------------------------------------------------------------------------------------------

    def _once(self, old: Schema, new: Schema, where: str, *, sent: bool) -> Wrong:
        """Compare two schemas with all that they name; what is under way already says nothing new."""
        was, now = self._whole(old, self._found_old), self._whole(new, self._found_new)
        key = (_identity(old), _identity(new), sent)
        if key in self._under_way:
            return
        if "$ref" in old and "$ref" in new:
            self._under_way.add(key)
        try:
            before, after = _forms(was), _forms(now)
            if before == [was] and after == [now]:
                yield from (self._of_sent if sent else self._of_answered)(was, now, where)
            else:
                yield from self._by_forms(before, after, where, sent=sent)
        finally:
            self._under_way.discard(key)

    def _by_forms(self, before: list[Schema], after: list[Schema], where: str, *, sent: bool) -> Wrong:
        """Let each form find its like: of what is sent every old one, of what is answered every new one."""
        each_of, among = (before, after) if sent else (after, before)
        for form in each_of:
            compared = (
                list(self._once(*((form, other) if sent else (other, form)), where, sent=sent)) for other in among
            )
            tried: list[list[tuple[str, str]]] = []
            for wrong in compared:
                tried.append(wrong)
                if not wrong:
                    break
            if tried and all(tried):
                yield from min(tried, key=len)

    def _members(self, was: Schema, now: Schema, where: str, compare: Any) -> Wrong:
        for name, member in was.get("properties", {}).items():
            if name in now.get("properties", {}):
                yield from compare(member, now["properties"][name], _at(where, name))
            else:
                yield _at(where, name), "is gone"
        for word, name in (("items", "*"), ("additionalProperties", "*")):
            if isinstance(was.get(word), Mapping) and isinstance(now.get(word), Mapping):
                yield from compare(was[word], now[word], _at(where, name))

    def _whole(self, schema: Schema, find: Any) -> Schema:
        """Give a schema with what it names, and with the parts that all hold taken together."""
        found = dict(find(schema))
        if "$ref" in schema:
            found = {**self._whole(found, find), **{k: v for k, v in schema.items() if k != "$ref"}}
        for part in found.pop("allOf", []):
            whole = self._whole(part, find)
            together = {
                "properties": {**whole.get("properties", {}), **found.get("properties", {})},
                "required": [*whole.get("required", []), *found.get("required", [])],
            }
            found = {**whole, **found, **{name: value for name, value in together.items() if value}}
        return found

    def _found_old(self, named: Mapping[str, Any]) -> Mapping[str, Any]:
        return _look_up(self.old, named)

    def _found_new(self, named: Mapping[str, Any]) -> Mapping[str, Any]:
        return _look_up(self.new, named)


def _look_up(document: Mapping[str, Any], named: Mapping[str, Any]) -> Mapping[str, Any]:
    while "$ref" in named:
        found: Any = document
        for step in named["$ref"].removeprefix("#/").split("/"):
            found = found[step]
        named = found
    return named


def _lets_in(old: Mapping[str, Any], new: Mapping[str, Any]) -> bool:
    """Tell whether each way in is a way in still: it, or one that asks for less."""
    ways = new.get("security", [{}]) or [{}]
    return all(
        any(all(set(scopes) <= set(was.get(name, ())) and name in was for name, scopes in now.items()) for now in ways)
        for was in old.get("security", [{}]) or [{}]
    )


def _identity(schema: Schema) -> str | int:
    return str(schema["$ref"]) if "$ref" in schema else id(schema)


def _forms(schema: Schema) -> list[Schema]:
    """Give the forms that a value may have; most have one."""
    for word in ("oneOf", "anyOf"):
        if word in schema:
            rest = {name: value for name, value in schema.items() if name not in {word, "discriminator"}}
            return [{**rest, **form} for form in schema[word]]
    return [schema]


def _types(schema: Schema) -> frozenset[str]:
    told = schema.get("type")
    if told is None:
        return frozenset({"object"}) if "properties" in schema else _ANYTHING
    return frozenset([told] if isinstance(told, str) else told)


def _words(schema: Schema) -> Any:
    """Give the values of a list of words, each as JSON; None where there is no list."""
    listed = [schema["const"]] if "const" in schema else schema.get("enum")
    return None if listed is None else [json.dumps(word) for word in listed if word is not None]


def _listed(words: Iterable[str]) -> str:
    return ", ".join(sorted(words))


def _at(where: str, name: str) -> str:
    return f"{where}/{name}" if where else name
