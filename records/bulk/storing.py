"""Put a batch into its table in one statement, and tell what became of each of its lines."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from django.db import IntegrityError, connection, transaction

from records.access import OpenFarm
from records.bulk import FEW
from records.bulk.incoming import CHECKS_OF, Statements, statements_of
from records.bulk.lines import array_of
from records.bulk.rows import NULL, Batch, Fault
from records.constraints import CONSTRAINTS
from records.context import set_context
from records.errors import IdInUse, Withdrawn
from records.kinds import Kind
from records.models.recorded import Recorded
from records.planned import carry_out
from records.services.recording import MODELS, ONCE_A_LIVE
from records.services.storing import constraint_of, digest_of, known_again


class OnConflict(StrEnum):
    """What to do with a line whose id is known with other content."""

    ERROR = "error"
    IGNORE = "ignore"
    UPDATE = "update"


@dataclass(frozen=True)
class Outcome:
    """What became of one line."""

    status: str
    version: int | None = None
    fault: Fault | None = None


Outcomes = dict[int, Outcome]
#: Each takes statements of its own; no phone changes one record so often before it is heard.
MOST_OF_AN_ID: Final = 50
_SAID_TOO_OFTEN: Final = (
    f"This id stands in more than {MOST_OF_AN_ID} lines of the request. Send the newest of them in another request."
)
_TOO_OFTEN: Final = Outcome(
    "error",
    fault=Fault("not_valid", _SAID_TOO_OFTEN, ({"path": ("id",), "code": "id_too_often", "detail": _SAID_TOO_OFTEN},)),
)
CREATED: Final = Outcome("created", 1)
UNCHANGED: Final = Outcome("unchanged", 1)


@dataclass(frozen=True)
class Store:
    """Stores batches on one open farm, on behalf of its caller."""

    opened: OpenFarm
    on_conflict: OnConflict = OnConflict.ERROR
    imported_from: uuid.UUID | None = None

    def store(self, batch: Batch) -> Outcomes:
        """Store the lines of a batch; lines that were stored before are known again.

        Lines of one id are stored one after the other, as if each had been sent by itself.
        """
        statements = statements_of(batch.kind)
        outcomes: Outcomes = {}
        left: Batch | None = batch
        for _ in range(MOST_OF_AN_ID):
            if not left:
                break
            firsts, left = _apart(left)
            outcomes |= self._insert(statements, firsts)
        return outcomes | dict.fromkeys(left.numbers if left else (), _TOO_OFTEN)

    def _insert(self, statements: Statements, batch: Batch) -> Outcomes:
        """Insert the lines as if all were new and good, which most often they are; else find out which are."""
        few = len(batch) <= FEW and not any(map(_has_an_escape, batch.texts))
        if not few:
            self._fill(statements, batch)
        try:
            with transaction.atomic():
                self._insert_few(statements, batch) if few else self._insert_copied(statements)
        except IntegrityError:
            return self._insert_what_can_be(statements, batch)
        return dict.fromkeys(batch.numbers, CREATED)

    def _insert_few(self, statements: Statements, batch: Batch) -> None:
        carry_out(statements.insert_few, {**self._named(), "lines": b"\n".join(batch.texts).decode()})

    def _insert_copied(self, statements: Statements) -> None:
        with connection.cursor() as cursor:
            cursor.execute(statements.insert, self._named())

    def _insert_what_can_be(self, statements: Statements, batch: Batch) -> Outcomes:
        """Ask the table's rules which lines break them, and insert of the others those that are new."""
        self._fill(statements, batch)
        outcomes = self._broken(statements, batch)
        if outcomes:
            batch = batch.without(outcomes)
            self._fill(statements, batch)
        try:
            with transaction.atomic(), connection.cursor() as cursor:
                cursor.execute(statements.insert_new, self._named())
                created = {str(row_id).encode() for (row_id,) in cursor.fetchall()}
        except IntegrityError as error:
            raise _unexplained(error) from error
        outcomes |= {
            number: CREATED for number, row_id in zip(batch.numbers, batch.ids, strict=True) if row_id in created
        }
        standing = batch.without(outcomes)
        return outcomes | self._standing(statements, standing) if standing else outcomes

    def _fill(self, statements: Statements, batch: Batch) -> None:
        with connection.cursor() as cursor:
            cursor.execute(statements.make)
            cursor.execute(statements.empty)
            with connection.wrap_database_errors, cursor.copy(statements.copy) as copy:  # Django wraps all but COPY
                copy.write(b"\n".join(batch.texts) + b"\n" if batch else b"")

    def _named(self) -> dict[str, Any]:
        caller, key = self.opened.caller, self.opened.caller.key
        return {
            "farm": self.opened.farm.pk,
            "recorded_by_id": caller.person.pk,
            "api_key_id": key.pk if key else None,
            "app_name": key.app_name if key else "",
            "source": "import" if self.imported_from else "api",
            "imported_from": self.imported_from,
        }

    def _broken(self, statements: Statements, batch: Batch) -> Outcomes:
        """Give the lines that break a check of the table, each with the sentence of the first that it breaks."""
        numbers = _numbers_by_id(batch)
        with connection.cursor() as cursor:
            checks = _checks_of(cursor, batch.kind, statements.filled)
            cursor.execute(statements.broken.replace("{broken}", checks), self._named())
            return {numbers[str(row_id)]: _breaks(name) for row_id, name in cursor.fetchall()}

    def _standing(self, statements: Statements, batch: Batch) -> Outcomes:
        """Tell what stands in the way of the lines that were not inserted, and do what was asked for about it."""
        numbers = _numbers_by_id(batch)
        with connection.cursor() as cursor:
            cursor.execute(statements.standing, self._named())
            found = [each for row in cursor.fetchall() if str((each := _Standing(*row)).row_id) in numbers]
        outcomes: Outcomes = {}
        clashing: list[_Standing] = []
        for each in found:
            number = numbers[str(each.row_id)]
            settled = _settled(each, self.on_conflict)
            if settled is not None:
                outcomes[number] = settled
            else:
                clashing.append(each)
        if clashing and self.on_conflict is OnConflict.UPDATE:
            updated = self._update(statements, [each for each in clashing if each.known and not each.withdrawn])
            outcomes |= {numbers[row_id]: Outcome("updated", version) for row_id, version in updated.items()}
            clashing = [each for each in clashing if str(each.row_id) not in updated]
        for each in clashing:
            number = numbers[str(each.row_id)]
            outcomes[number] = self._clash(statements, batch.kind, each)
        return outcomes

    def _update(self, statements: Statements, standing: Sequence[_Standing]) -> dict[str, int]:
        ids = array_of([str(each.row_id).encode() for each in standing])
        set_context(reason="sent again in bulk")
        with connection.cursor() as cursor:
            cursor.execute(statements.lock, {"farm": self.opened.farm.pk, "ids": ids})
            try:
                with transaction.atomic():
                    cursor.execute(statements.update, {"farm": self.opened.farm.pk, "ids": ids})
                    return {str(row_id): version for row_id, version in cursor.fetchall()}
            except IntegrityError:
                return dict(self._one_by_one(statements, standing))

    def _one_by_one(self, statements: Statements, standing: Sequence[_Standing]) -> Iterator[tuple[str, int]]:
        """Update each line by itself, where one of them breaks a rule or wants a place that is taken."""
        for each in standing:
            ids = array_of([str(each.row_id).encode()])
            with connection.cursor() as cursor:
                try:
                    with transaction.atomic():
                        cursor.execute(statements.update, {"farm": self.opened.farm.pk, "ids": ids})
                        yield from ((str(row_id), version) for row_id, version in cursor.fetchall())
                except IntegrityError:
                    continue  # it is answered as a clash

    def _clash(self, statements: Statements, kind: Kind, each: _Standing) -> Outcome:
        """Say what stands in a line's way, with what stands there."""
        model = MODELS[kind.name]
        if not each.known:
            return Outcome("error", fault=_TAKEN[kind.name])
        row: Recorded = model.objects.for_farm(self.opened.farm).get(pk=each.row_id)
        if each.base_version is not None and each.base_version != row.version and not row.is_withdrawn:
            detail = f"The record is at version {row.version}, not {each.base_version}. Read it again."
            return Outcome("error", fault=Fault("stale", detail, current=row))
        said = self._said(statements, each.row_id)
        try:
            known_again(row, digest_of(said), said)
        except (IdInUse, Withdrawn) as clash:
            return Outcome("error", fault=Fault(clash.code, clash.detail, current=row))
        return Outcome("unchanged", row.version)

    def _said(self, statements: Statements, row_id: uuid.UUID) -> dict[str, Any]:
        with connection.cursor() as cursor:
            cursor.execute(statements.said, {"id": row_id})
            return dict(zip(statements.content, cursor.fetchone(), strict=True))


@dataclass(frozen=True)
class _Standing:
    """What is on record under the id of a line."""

    row_id: uuid.UUID
    known: bool
    version: int | None
    withdrawn: bool
    same_line: bool
    same: bool
    base_version: int | None


def _settled(each: _Standing, on_conflict: OnConflict) -> Outcome | None:
    """Tell what needs no second look: what says the same, and what is to be kept whatever it says."""
    if not each.known or each.withdrawn:
        return None
    kept = on_conflict is OnConflict.IGNORE and each.base_version in {None, each.version}
    return Outcome("unchanged", each.version) if kept or each.same_line or each.same else None


#: What a line meets whose id is new, but whose place a live record holds.
_TAKEN: Final[dict[str, Fault]] = {}
for _name, (_code, _path, _sentence) in CONSTRAINTS.items():
    if ONCE_A_LIVE in _name:
        _place = ({"path": _path, "code": _code, "detail": _sentence},)
        _TAKEN.setdefault(_name.partition(ONCE_A_LIVE)[0], Fault("already_recorded", _sentence, _place))


def _apart(batch: Batch) -> tuple[Batch, Batch | None]:
    """Set lines aside whose id an earlier line of the batch has: they come after it, as if sent later."""
    if len(set(batch.ids)) == len(batch.ids):
        return batch, None
    first: dict[bytes, int] = {}
    for number, row_id in zip(batch.numbers, batch.ids, strict=True):
        first.setdefault(row_id, number)
    firsts = set(first.values())
    return batch.without(set(batch.numbers) - firsts), batch.without(firsts)


def _has_an_escape(text: bytes) -> bool:
    return text.count(b"\\") > text.count(NULL)


def _numbers_by_id(batch: Batch) -> Mapping[str, int]:
    return {row_id.decode(): number for row_id, number in zip(batch.ids, batch.numbers, strict=True)}


def _breaks(name: str) -> Outcome:
    code, path, sentence = CONSTRAINTS[name]
    return Outcome("error", fault=Fault("not_valid", sentence, ({"path": path, "code": code, "detail": sentence},)))


class VinesMoved(Exception):
    """A foreign key refused a line whose vine was known: what is kept of the farm's vines is no longer so."""


def _unexplained(error: IntegrityError) -> Exception:
    return VinesMoved() if "_of_the_same_farm" in constraint_of(error) else error


_checks: dict[str, str] = {}


def _checks_of(cursor: Any, kind: Kind, filled: Sequence[str]) -> str:
    """Give one expression that names the first check a line breaks; the catalogue is asked once a process."""
    if kind.name not in _checks:
        cursor.execute(CHECKS_OF, [kind.name, list(filled)])
        asked = [(name, expression.replace("%", "%%")) for name, expression in cursor.fetchall() if name in CONSTRAINTS]
        cases = " ".join(f"WHEN NOT ({expression}) THEN '{name}'" for name, expression in asked)
        _checks[kind.name] = f"CASE {cases} END"
    return _checks[kind.name]
