"""The kinds of problem that the API answers with (RFC 9457): one row a code, with the way out.

Clients switch on code, which never changes its meaning; the title of a code never varies.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from django.conf import settings

CONTENT_TYPE: Final = "application/problem+json"


@dataclass(frozen=True)
class Kind:
    """One kind of problem."""

    code: str
    status: int
    title: str
    explanation: str

    @property
    def slug(self) -> str:
        return self.code.replace("_", "-")

    @property
    def address(self) -> str:
        return f"{settings.PUBLIC_URL}/problems/{self.slug}"


_KINDS: Final = (
    Kind(
        "validation_error",
        400,
        "The request is not valid",
        "One or more members or parameters break the published schema. Each entry of errors names the place, "
        "the rule and the way out. Mend them all and send the request again; nothing was stored.",
    ),
    Kind(
        "malformed_json",
        400,
        "The body is not JSON",
        "The body could not be read as one JSON document in UTF-8, or it is nested too deep. The detail names the "
        "line and column, or the byte, where it went wrong.",
    ),
    Kind(
        "bad_request",
        400,
        "The request is malformed",
        "The address or a header holds something that no request may hold, such as a null character, or the body "
        "ended before its length. The detail says which.",
    ),
    Kind(
        "not_authenticated",
        401,
        "Who calls is not known",
        "Send a key as Authorization: Bearer vine_…. Missing, mistyped, expired and revoked keys are answered alike.",
    ),
    Kind(
        "not_allowed",
        403,
        "This caller may not do this",
        "The farm is yours to see, but your role or your key does not carry the right that this takes. The owner "
        "of the farm can give you another role, or you use a key with more scopes.",
    ),
    Kind(
        "not_found",
        404,
        "There is nothing of yours at this address",
        "Either nothing is there, or it belongs to a farm that you have no part in. Nothing tells the two apart.",
    ),
    Kind(
        "method_not_allowed",
        405,
        "The address does not take this method",
        "The header Allow lists the methods that it takes.",
    ),
    Kind(
        "not_acceptable",
        406,
        "No form of the answer is acceptable",
        "The detail lists the forms in which the address answers: send one of them as Accept, or no Accept header.",
    ),
    Kind(
        "too_slow",
        408,
        "The body arrived too slowly",
        "A body may take twenty seconds, and a second more for every 1,000 bytes of it that arrived. Nothing was "
        "stored; send it again, in smaller parts where the line is bad.",
    ),
    Kind(
        "conflict",
        409,
        "It clashes with what is stored",
        "Another record stands in the place of this one. current is the record that stands there, where it is yours.",
    ),
    Kind(
        "id_in_use",
        409,
        "The id is in use for other content",
        "A record of the farm has this id and says something else. To change it, send PATCH with If-Match; for a "
        "new record, use a new id. current is the record as it stands.",
    ),
    Kind(
        "id_unavailable",
        409,
        "The id cannot be used",
        "Send another id, or none. Nothing more can be said.",
    ),
    Kind(
        "already_recorded",
        409,
        "The place is taken",
        "There is one record for one thing and season (one place in a row, one name in a farm). Change the one "
        "that stands there.",
    ),
    Kind(
        "under_way",
        409,
        "The same request is being worked on",
        "Another request with this Idempotency-Key has not ended yet. Send it again after as many seconds as "
        "Retry-After says, and you are given its answer.",
    ),
    Kind(
        "answer_not_kept",
        409,
        "The request took effect, and its answer cannot be given again",
        "A request with this Idempotency-Key succeeded before. Its answer showed a secret, which is never kept, or was "
        "very large. Nothing was done now: read what it made, and replace a secret that was lost.",
    ),
    Kind(
        "withdrawn",
        409,
        "The record was withdrawn",
        "A withdrawn record stays as a tombstone, and a late phone does not bring it back. current is that tombstone. "
        "POST …/reinstatement lets it stand again; for a new record, use a new id.",
    ),
    Kind(
        "cursor_expired",
        410,
        "The cursor is of an earlier life of the records",
        "The records were restored from a backup since this cursor was given, so it cannot say what changed. Read the "
        "feed from its beginning, without a cursor; what you have already does no harm.",
    ),
    Kind(
        "expired",
        410,
        "It was kept for as long as was said and is gone",
        "What is made for you to fetch, such as the file of an export, is kept for a time that its answer names. Ask "
        "for it anew.",
    ),
    Kind(
        "length_required",
        411,
        "The length of the body is missing",
        "Send Content-Length. A body without a length could be lost without a word.",
    ),
    Kind(
        "stale",
        412,
        "The record was changed since you read it",
        "Your If-Match names a version that is no longer current. Read the record again, repeat your change on "
        "it, and send its ETag. current is the record as it stands.",
    ),
    Kind(
        "too_large",
        413,
        "The body is too large",
        "Split it, or send it as a file to /imports. The detail names the limit.",
    ),
    Kind(
        "unsupported_media_type",
        415,
        "The body is in a form that is not understood",
        "Send what the detail lists as Content-Type, in UTF-8 and without Content-Encoding; most addresses take "
        "application/json alone.",
    ),
    Kind(
        "not_valid",
        422,
        "A rule of the records refuses it",
        "The request is well formed, but a rule of the trade or of the farm's records refuses it. Each entry of "
        "errors names the place, the rule and the way out.",
    ),
    Kind(
        "idempotency_key_reused",
        422,
        "The key was used for something else",
        "An Idempotency-Key belongs to one request: the order of its members does not matter, but what it says does. "
        "Send what was sent then, or a new key. Keys are kept for thirty days.",
    ),
    Kind(
        "precondition_required",
        428,
        "Which version you are changing is missing",
        "Send the ETag that you read as If-Match, so that nobody's change is overwritten unseen.",
    ),
    Kind(
        "too_many_requests",
        429,
        "Too many requests",
        "Wait as many seconds as Retry-After says.",
    ),
    Kind(
        "internal_error",
        500,
        "The service failed",
        "This is a fault of ours. Nothing was stored. Tell the operators the request_id.",
    ),
    Kind(
        "unavailable",
        503,
        "The service cannot answer now",
        "A part that the service needs is away or overloaded. Send the request again after as many seconds as"
        " Retry-After says. Unless the detail says that nothing was stored, it may have been; what comes again under an"
        " id of the client's own is stored once.",
    ),
)
KINDS: Final = {kind.code: kind for kind in _KINDS}
BY_STATUS: Final[dict[int, Kind]] = {}
for _kind in _KINDS:
    BY_STATUS.setdefault(_kind.status, _kind)


def problem(
    kind: Kind,
    detail: str,
    *,
    instance: str = "",
    request_id: str = "",
    errors: list[dict[str, Any]] | None = None,
    **more: Any,
) -> dict[str, Any]:
    """Give the body of one problem."""
    body: dict[str, Any] = {
        "type": kind.address,
        "title": kind.title,
        "status": kind.status,
        "code": kind.code,
        "detail": detail,
        "instance": instance,
        "request_id": request_id,
    }
    if errors:
        body["errors"] = errors
    return body | {name: value for name, value in more.items() if value is not None}
