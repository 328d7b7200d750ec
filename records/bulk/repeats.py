"""Lines that were sent before, known again by their bytes alone: a phone that lost the reply sends everything again.

A record keeps the digest of the line that brought it.  A line with this id and this digest says what the record was
made from, so it need not be read again.  What is not known for certain is left to be read.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from records.access import OpenFarm
from records.bulk import FEW
from records.bulk.incoming import statements_of
from records.bulk.lines import array_of, digest_of_line, kind_in, made_ahead
from records.bulk.storing import UNCHANGED, Outcome, Outcomes
from records.kinds import KINDS, Kind
from records.planned import ask

#: So many lines are looked up to see whether any was sent before; so many at once where one was.
SAMPLED: Final = 20
PART: Final = 10_000
_ID: Final = re.compile(rb'"id"\s?:\s?"([0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12})"')

Numbered = tuple[int, bytes]


@dataclass
class Repeats:
    """The lines of a request that are on record as they stand: what became of each, and its id."""

    outcomes: Outcomes = field(default_factory=dict)
    ids: dict[int, str] = field(default_factory=dict)

    def without(self, ordered: Sequence[Numbered]) -> Sequence[Numbered]:
        """Give the lines that have to be read."""
        if not self.outcomes:
            return ordered
        return [numbered for numbered in ordered if numbered[0] not in self.outcomes]


def repeats_among(opened: OpenFarm, ordered: Sequence[Numbered], only_kind: Kind | None) -> Repeats:
    """Find the lines that are on record as they stand; a request that is new is not looked up line by line."""
    found = Repeats()
    step = max(1, len(ordered) // SAMPLED)
    for asked in _by_kind(ordered[::step], only_kind):
        _look_up(opened, asked, found)
    if found.outcomes:
        # Digests of the next part are taken while the database looks the one before up.
        for _, part in made_ahead(ordered, PART, lambda lines: _by_kind(lines, only_kind)):
            for asked in part:
                _look_up(opened, asked, found)
    return found


@dataclass(frozen=True)
class _Asked:
    """Lines of one kind with an id of the client's own: their numbers and ids, and both columns as they are sent."""

    kind: Kind
    numbers: list[int]
    ids: list[bytes]
    named: dict[str, str]


def _by_kind(lines: Sequence[Numbered], only_kind: Kind | None) -> list[_Asked]:
    names = {only_kind.name.encode()} if only_kind else _kinds_of(lines)
    kinds = [(name, KINDS[name.decode()]) for name in sorted(names) if name.decode() in KINDS]
    return [
        _asked(kind, lines if len(names) == 1 else [each for each in lines if _names(each[1], name)])
        for name, kind in kinds
    ]


def _kinds_of(lines: Sequence[Numbered]) -> set[bytes]:
    return {match[1] for _, line in lines if (match := kind_in(line))}


def _names(line: bytes, kind: bytes) -> bool:
    match = kind_in(line)
    return match is not None and match[1] == kind


def _asked(kind: Kind, lines: Sequence[Numbered]) -> _Asked:
    numbers: list[int] = []
    ids: list[bytes] = []
    digests: list[bytes] = []
    for number, line in lines:
        match = _ID.search(line)
        if match is not None:
            numbers.append(number)
            ids.append(match[1])
            digests.append(digest_of_line(line).encode())
    return _Asked(kind, numbers, ids, {"ids": array_of(ids), "digests": array_of(digests)})


def _look_up(opened: OpenFarm, asked: _Asked, found: Repeats) -> None:
    """Ask the table; it answers only with what is not on record as it was first sent, which is little as a rule."""
    if not asked.numbers:
        return
    statement = statements_of(asked.kind).not_as_first_sent
    others = ask(statement, {**asked.named, "farm": opened.farm.pk}, again=len(asked.ids) <= FEW)
    found.outcomes |= dict.fromkeys(asked.numbers, UNCHANGED)
    found.ids.update(zip(asked.numbers, map(bytes.decode, asked.ids), strict=True))
    for at, version in others:
        number = asked.numbers[at - 1]
        if version is None:
            del found.outcomes[number], found.ids[number]
        else:
            found.outcomes[number] = Outcome("unchanged", version)
