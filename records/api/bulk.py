"""Many records at once, of any kinds: JSON array, NDJSON or CSV, with a result for each."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any, ClassVar, Final

from django.db import OperationalError, connection, transaction
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, PolymorphicProxySerializer, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response

from records.access import Right
from records.api.bulk_answers import RESULT_EXAMPLE, BulkAnswer, answer_of, places_of_faults
from records.api.bulk_bodies import Documents, Lines, Table
from records.api.kind_examples import NEW
from records.api.kind_fields import WordField, sent_by
from records.api.strict import InvalidQuery, StrictBooleanField, StrictQuery
from records.api.views import FarmView
from records.bulk import LARGEST_BODY, MOST_DOCUMENTS, MOST_LINES
from records.bulk.storing import MOST_OF_AN_ID, OnConflict, VinesMoved
from records.bulk.taking import Options, Taken, take_documents, take_lines
from records.errors import NotValid
from records.files.sending import take_table
from records.kinds import KINDS, Kind

MOST_TRIES: Final = 3
#: Deadlock, serialization failure, a lock that was waited for too long, and a statement that waited for many of them.
_WAITED: Final = {"40P01", "40001", "55P03", "57014"}
#: How long a request that is carried out again may wait: several that write the same records stand in a line, and the
#: last of them waits for all the others.
_PATIENCE: Final = "SET LOCAL lock_timeout = '15s'; SET LOCAL statement_timeout = '20s'"


class _Again(Exception):
    """Two writers waited for each other, or a vine was planted meanwhile: the whole request is carried out again."""


def _one_of_a_kind(kind: Kind) -> type[serializers.Serializer[Any]]:
    base = sent_by(kind)
    members = {
        "kind": serializers.ChoiceField(choices=[kind.name]),
        "base_version": serializers.IntegerField(
            required=False, min_value=1, help_text="With on_conflict=update: the version that you read."
        ),
        "__doc__": f"A {kind.title.lower()} in bulk.",
        "__module__": __name__,
    }
    return type(f"{base.__name__.removesuffix('In')}Line", (base,), members)


_LINE: Final = PolymorphicProxySerializer(
    component_name="RecordLine",
    serializers={kind.name: _one_of_a_kind(kind) for kind in KINDS.values()},
    resource_type_field_name="kind",
    many=True,
)


class Records(FarmView):
    """Many records at once."""

    rights: ClassVar[Mapping[str, Right]] = {"POST": Right.RECORD}
    serializer_class = BulkAnswer
    pagination_class = None
    _tries = 0
    _data: Any = None

    def get_parsers(self) -> list[BaseParser]:
        return [*super().get_parsers(), Lines(), Table()]

    def dispatch(self, request: Any, *args: Any, **kwargs: Any) -> Any:
        """Carry the request out in a transaction of its own, again where two writers waited for each other."""
        while True:
            self._tries += 1
            try:
                with transaction.atomic():
                    self._be_patient()
                    return super().dispatch(request, *args, **kwargs)
            except _Again:
                continue

    def _be_patient(self) -> None:
        if self._tries > 1:
            with connection.cursor() as cursor:
                cursor.execute(_PATIENCE)

    def handle_exception(self, exc: Exception) -> Response:
        retried = isinstance(exc, VinesMoved) or (isinstance(exc, OperationalError) and _waited_in_a_ring(exc))
        if retried and self._tries < MOST_TRIES:
            raise _Again from exc
        response: Response = super().handle_exception(exc)
        return response

    @extend_schema(
        summary="Store many records at once",
        description="Records of any kinds, each with its `kind` and the members of its own endpoint: a JSON array of "
        f"at most {MOST_DOCUMENTS:,}, NDJSON of at most {MOST_LINES:,} lines and {LARGEST_BODY // 1_000_000} MB, which "
        f"may be gzip, or a CSV table of one kind with at most {MOST_DOCUMENTS:,} lines, as its template has it. "
        f"One id stands in at most {MOST_OF_AN_ID} lines. "
        "Each gets a result, in the order of the request: 200 where every one is good, 207 where some are not; with "
        "`atomic=true` all or none. Sent again after a lost reply, what was stored is `unchanged`. All of one "
        "request is stored at one moment.",
        parameters=[
            OpenApiParameter("atomic", bool, description="True: store all, or answer 422 and store none."),
            OpenApiParameter(
                "on_conflict",
                str,
                enum=[each.value for each in OnConflict],
                description="For an id that is known with other content: `error`; `ignore` keeps what stands; "
                "`update` makes a new version, where `base_version` is given only from that version.",
            ),
            OpenApiParameter(
                "kind",
                str,
                enum=sorted(KINDS),
                description="The kind of all records; needed for a table, and lines then need none of their own.",
            ),
            OpenApiParameter(
                "Prefer", str, OpenApiParameter.HEADER, description="`return=minimal` gives the failed ones only."
            ),
        ],
        request={
            "application/json": _LINE,
            "application/x-ndjson": {"type": "string"},
            "text/csv": {"type": "string"},
        },
        responses={200: BulkAnswer, 207: BulkAnswer},
        tags=["records in bulk"],
        examples=[
            *(
                OpenApiExample(
                    kind.title,
                    value={"kind": kind.name, **NEW[kind.name]},
                    request_only=True,
                    media_type="application/json",
                )
                for kind in KINDS.values()
            ),
            OpenApiExample(
                "One stored, one refused", value=RESULT_EXAMPLE, response_only=True, status_codes=["200", "207"]
            ),
        ],
    )
    def post(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            atomic=StrictBooleanField(),
            on_conflict=WordField(tuple(OnConflict)),
            kind=WordField(tuple(KINDS)),
        )
        options = Options(
            OnConflict(query.get("on_conflict", OnConflict.ERROR)),
            atomic=bool(query.get("atomic")),
            kind=KINDS.get(query.get("kind", "")),
            # Lines of several requests are no batch of one person's: nothing follows from their medians.
            doubts_units=self._requests_in_this() == 1,
        )
        if self._data is None:
            self._data = request.data  # read once: a body does not come a second time
        taken = self._taken(self._data, options)
        if options.atomic and taken.failed:
            raise NotValid(_NOTHING, faults=tuple(places_of_faults(taken)))
        return answer_of(taken, minimal="return=minimal" in request.headers.get("Prefer", ""))

    def _taken(self, data: Any, options: Options) -> Taken:
        careful = Documents()
        if isinstance(data, bytes):
            count = data.count(b"\n") + 1
            if count > MOST_LINES + 1:
                raise NotValid.at(code="too_many_lines", detail=_TOO_MANY.format(count, MOST_LINES))
            self._spend_once(count // 100)
            if self.request.content_type.startswith(Table.media_type):
                if options.kind is None:
                    raise InvalidQuery({"kind": [ErrorDetail("Say which kind of record the table holds.", "required")]})
                return take_table(self.opened, options.kind, data, options, careful)
            return take_lines(self.opened, data, options, careful)
        if not isinstance(data, list):
            raise ValidationError("Send a JSON array of records, or NDJSON as application/x-ndjson.", code="not_a_list")
        if len(data) > MOST_DOCUMENTS:
            raise NotValid.at(code="too_many_lines", detail=_TOO_MANY.format(len(data), MOST_DOCUMENTS))
        self._spend_once(len(data) // 100)
        return take_documents(self.opened, data, options, careful)

    def _requests_in_this(self) -> int:
        """Give how many requests the front carries out in this one."""
        return int(self.request.META.get("vineyard.combined", 1))

    def _spend_once(self, cost: int) -> None:
        """Spend for many lines, and for the requests that stand in this one beside the first."""
        cost += self._requests_in_this() - 1
        if cost and self._tries == 1:
            self.spend(cost)


_NOTHING: Final = "Some records were refused, so none was stored. Mend them, or send them without atomic=true."
_TOO_MANY: Final = "There are {:,} records; at most {:,} are taken at once. Send them in parts."


def _waited_in_a_ring(error: OperationalError) -> bool:
    return getattr(error.__cause__, "sqlstate", "") in _WAITED
