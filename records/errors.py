"""What the records refuse, as classes with a stable code; the API decides the HTTP status in one table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar


@dataclass(frozen=True)
class Fault:
    """One thing wrong with one value: where it stands, which rule it breaks, and the way out.

    ``path`` is the place in the body as members and positions, e.g. ``("pruning_weight", "unit")``;
    an empty path means the body as a whole.
    """

    path: tuple[str | int, ...]
    code: str
    detail: str


class Refusal(Exception):
    """Base of everything that the records refuse; ``detail`` is a sentence for the person who asked."""

    code: ClassVar[str] = "refused"

    def __init__(self, detail: str, *, faults: tuple[Fault, ...] = (), **data: Any) -> None:
        super().__init__(detail)
        self.detail = detail
        self.faults = faults
        self.data = data


class NotFound(Refusal):
    """No such thing, or not the caller's to see: nothing tells the two apart."""

    code = "not_found"

    def __init__(self, detail: str = "Nothing of yours is at this address.") -> None:
        super().__init__(detail)


class NotAllowed(Refusal):
    """The caller may see the farm, but their role or key does not allow this."""

    code = "not_allowed"


class NotValid(Refusal):
    """Well formed, but a rule of the trade or of the farm's records refuses it."""

    code = "not_valid"

    @classmethod
    def at(cls, *path: str | int, code: str, detail: str) -> NotValid:
        return cls(detail, faults=(Fault(path, code, detail),))


class Expired(Refusal):
    """It was there, was kept as long as was said, and is gone."""

    code = "expired"


class Conflict(Refusal):
    """It clashes with what is stored; ``current`` in the data is what stands there now, where it may be shown."""

    code = "conflict"


class IdInUse(Conflict):
    """A record of the caller's farm has this id already, with other content."""

    code = "id_in_use"


class IdUnavailable(Conflict):
    """The id cannot be used; nothing more may be said, because it may be another farm's."""

    code = "id_unavailable"


class AlreadyRecorded(Conflict):
    """The place is taken: one record for one thing and season."""

    code = "already_recorded"


class Stale(Conflict):
    """The caller changed a version that is no longer the current one."""

    code = "stale"


class Withdrawn(Conflict):
    """The record was withdrawn; nothing but an explicit reinstatement brings it back."""

    code = "withdrawn"


class CursorExpired(Refusal):
    """The cursor is of an earlier life of the records, before a restore."""

    code = "cursor_expired"


class UnderWay(Conflict):
    """A request of the same key is being worked on at this moment."""

    code = "under_way"

    def __init__(self) -> None:
        super().__init__(
            "A request with this Idempotency-Key is being worked on. Send it again in a second for its answer.",
            retry_after="1",
        )


class AnswerNotKept(Conflict):
    """The request took effect before, and its answer cannot be given again."""

    code = "answer_not_kept"

    def __init__(self) -> None:
        super().__init__(
            "This request took effect when it was first sent, and did nothing now. Its answer was not kept, because it "
            "showed a secret or was very large: read what it made; a secret that was lost is replaced by a new one."
        )


class KeyReused(Refusal):
    """The key was used for a request that said something else."""

    code = "idempotency_key_reused"

    def __init__(self) -> None:
        super().__init__(
            "This Idempotency-Key was used for a request that said something else; nothing was stored now. Send what "
            "was sent then, or a new key for a new request."
        )


class NotARecord(Refusal):
    """A line of many says nothing that could be a record: it names no kind, or nothing that it is about."""

    code = "validation_error"

    def __init__(self, detail: str, at: str = "") -> None:
        super().__init__(detail, faults=(Fault((at,) if at else (), "required", detail),))
