"""Many records at once, of any kinds: JSON array or NDJSON, with a result for each."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping, Sequence
from typing import IO, Any, ClassVar, Final, cast

import orjson
from django.core.exceptions import RequestDataTooBig
from django.db import OperationalError, transaction
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, PolymorphicProxySerializer, extend_schema
from rest_framework import serializers, status
from rest_framework.exceptions import ErrorDetail, ParseError, ValidationError
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response

from records.access import Right
from records.api.documents import MalformedJSON, UnfitValues, document_of
from records.api.faults import break_rules_only, flatten, pointer
from records.api.kind_examples import NEW
from records.api.kind_fields import WordField, sent_by, shown_of
from records.api.strict import StrictBooleanField, StrictQuery
from records.api.views import FarmView
from records.bulk import LARGEST_BODY, LONGEST_LINE, MOST_DOCUMENTS, MOST_LINES
from records.bulk.inflating import NotCompressed, TooLargeInflated, inflated
from records.bulk.rows import Fault
from records.bulk.storing import OnConflict, Outcome, VinesMoved
from records.bulk.taking import Options, Taken, take_documents, take_lines
from records.errors import Fault as Place
from records.errors import NotValid, Refusal
from records.kinds import KINDS, Kind
from records.models.recorded import Recorded
from records.services.recording import MODELS
from records.services.unit_doubts import UnitDoubt
from records.signals import count_rows

MOST_TRIES: Final = 4
_DEADLOCK, _SERIALIZATION = "40P01", "40001"
#: Status of a fault within a line, as the single endpoint would answer it.
STATUS: Final = {
    "validation_error": 400,
    "malformed_json": 400,
    "not_valid": 422,
    "id_in_use": 409,
    "already_recorded": 409,
    "withdrawn": 409,
    "stale": 412,
}


class Lines(BaseParser):
    """A body with one JSON document a line, taken as it is."""

    media_type = "application/x-ndjson"

    def parse(  # type: ignore[override]
        self,
        stream: IO[Any],
        media_type: str | None = None,  # noqa: ARG002
        parser_context: Mapping[str, Any] | None = None,
    ) -> bytes:
        body: bytes = stream.read(LARGEST_BODY + 1)
        if len(body) > LARGEST_BODY:
            raise RequestDataTooBig
        request = (parser_context or {}).get("request")
        if request is None or request.headers.get("Content-Encoding", "identity").lower() == "identity":
            return body
        try:
            return inflated(body)
        except TooLargeInflated as error:
            raise RequestDataTooBig(str(error)) from error
        except NotCompressed as error:
            raise ParseError(str(error)) from error


class Documents:
    """How a line is read the careful way."""

    def document(self, line: bytes) -> Any:
        if len(line) > LONGEST_LINE:
            raise MalformedJSON(f"The line has more than {LONGEST_LINE:,} bytes.")
        return document_of(line)

    def said(self, kind: Kind, document: Mapping[str, Any]) -> dict[str, Any]:
        sent = sent_by(kind)(data=document)
        sent.is_valid(raise_exception=True)
        return dict(sent.validated_data)

    def fault(self, error: Exception) -> Fault | None:
        if isinstance(error, UnfitValues):
            return _of_places("validation_error", error.faults)
        if isinstance(error, ValidationError):
            return _of_details(error.detail)
        if isinstance(error, MalformedJSON):
            return Fault("malformed_json", str(error.detail))
        if isinstance(error, Refusal):
            return _of_places(error.code, error.faults) or Fault(error.code, error.detail)
        return None


def _of_details(detail: Any) -> Fault:
    found: list[tuple[tuple[str | int, ...], ErrorDetail]] = list(flatten(detail))[:20]
    places = [{"path": path, "code": str(each.code), "detail": str(each)} for path, each in found]
    code = "not_valid" if break_rules_only(str(place["code"]) for place in places) else "validation_error"
    return Fault(code, _sentence([place["detail"] for place in places]), tuple(places))


def _of_places(code: str, faults: Sequence[Place]) -> Fault | None:
    places = [{"path": each.path, "code": each.code, "detail": each.detail} for each in faults[:20]]
    return Fault(code, _sentence([each.detail for each in faults]), tuple(places)) if places else None


def _sentence(sentences: Sequence[Any]) -> str:
    return str(sentences[0]) if len(sentences) == 1 else f"{len(sentences)} members are not valid."


class _Again(Exception):
    """Two writers waited for each other, or a vine was planted meanwhile: the whole request is carried out again."""


class NothingStored(NotValid):
    """Some line of an atomic request was refused, so none was stored."""


RESULT_EXAMPLE: Final = {
    "doubts": [],
    "summary": {"received": 2, "created": 1, "updated": 0, "unchanged": 0, "failed": 1},
    "results": [
        {"index": 0, "id": "01991b5e-0000-7000-8000-0000000d0001", "status": "created", "version": 1},
        {
            "index": 1,
            "id": "01991b5e-0000-7000-8000-0000000d0003",
            "status": "error",
            "error": {
                "status": 400,
                "code": "validation_error",
                "detail": "Ensure this value is less than or equal to 5000.",
                "errors": [
                    {
                        "pointer": "#/1/count_shoots",
                        "code": "max_value",
                        "detail": "Ensure this value is less than or equal to 5000.",
                    }
                ],
            },
        },
    ],
}


class BulkSummary(serializers.Serializer[Any]):
    """How many lines there were, and what became of them."""

    received = serializers.IntegerField()
    created = serializers.IntegerField()
    updated = serializers.IntegerField()
    unchanged = serializers.IntegerField()
    failed = serializers.IntegerField()


class BulkError(serializers.Serializer[Any]):
    """Why a line was not stored: what the single endpoint would have answered."""

    status = serializers.ChoiceField(choices=sorted(set(STATUS.values())))
    code = serializers.ChoiceField(choices=sorted(STATUS))
    detail = serializers.CharField()
    errors = serializers.ListField(  # type: ignore[assignment]
        child=serializers.DictField(), required=False
    )
    current = serializers.DictField(required=False, help_text="The record that stands in the way.")


class BulkResult(serializers.Serializer[Any]):
    """What became of one line."""

    index = serializers.IntegerField(help_text="Position in the request, from 0; blank lines are not counted.")
    id = serializers.CharField(required=False, help_text="As sent, or as the service made it.")
    status = serializers.ChoiceField(choices=["created", "updated", "unchanged", "error"])
    version = serializers.IntegerField(required=False)
    error = BulkError(required=False)


class UnitDoubtOut(serializers.Serializer[Any]):
    """A block whose weights look as if sent in another unit than the one that they name; they are stored as sent."""

    block = serializers.UUIDField()
    sent_unit = serializers.CharField()
    likely_unit = serializers.CharField()
    records = serializers.IntegerField(help_text="Weights that were looked at.")
    median_kg = serializers.FloatField(help_text="Of these.")
    median_before_kg = serializers.FloatField(help_text="Of the block before.")
    detail = serializers.CharField()


class BulkAnswer(serializers.Serializer[Any]):
    """A result for each line, in the order of the request."""

    summary = BulkSummary()
    doubts = UnitDoubtOut(many=True, help_text="Weights that look like another unit's; a person has to look.")
    results = BulkResult(many=True)


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
        return [*super().get_parsers(), Lines()]

    def dispatch(self, request: Any, *args: Any, **kwargs: Any) -> Any:
        """Carry the request out in a transaction of its own, again where two writers waited for each other."""
        while True:
            self._tries += 1
            try:
                with transaction.atomic():
                    return super().dispatch(request, *args, **kwargs)
            except _Again:
                continue

    def handle_exception(self, exc: Exception) -> Response:
        retried = isinstance(exc, VinesMoved) or (isinstance(exc, OperationalError) and _waited_in_a_ring(exc))
        if retried and self._tries < MOST_TRIES:
            raise _Again from exc
        response: Response = super().handle_exception(exc)
        return response

    @extend_schema(
        summary="Store many records at once",
        description="Records of any kinds, each with its `kind` and the members of its own endpoint: a JSON array of "
        f"at most {MOST_DOCUMENTS:,}, or NDJSON of at most {MOST_LINES:,} lines and {LARGEST_BODY // 1_000_000} MB. "
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
                "Prefer", str, OpenApiParameter.HEADER, description="`return=minimal` gives the failed ones only."
            ),
        ],
        request={"application/json": _LINE, "application/x-ndjson": {"type": "string"}},
        responses={200: BulkAnswer, 207: BulkAnswer},
        tags=["records in bulk"],
        examples=[
            OpenApiExample(
                "A weighing and a shoot count",
                value=[{"kind": name, **NEW[name]} for name in ("dormant_record", "shoot_count")],
                request_only=True,
                media_type="application/json",
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
        )
        options = Options(OnConflict(query.get("on_conflict", OnConflict.ERROR)), bool(query.get("atomic")))
        if self._data is None:
            self._data = request.data  # read once: a body does not come a second time
        taken = self._taken(self._data, options)
        if options.atomic and taken.failed:
            raise NothingStored(_NOTHING, faults=tuple(_places(taken)))
        return _answer(taken, minimal="return=minimal" in request.headers.get("Prefer", ""))

    def _taken(self, data: Any, options: Options) -> Taken:
        careful = Documents()
        if isinstance(data, bytes):
            count = data.count(b"\n") + 1
            if count > MOST_LINES + 1:
                raise NotValid.at(code="too_many_lines", detail=_TOO_MANY.format(count, MOST_LINES))
            self._spend_once(count // 100)
            return take_lines(self.opened, data, options, careful)
        if not isinstance(data, list):
            raise ValidationError("Send a JSON array of records, or NDJSON as application/x-ndjson.", code="not_a_list")
        if len(data) > MOST_DOCUMENTS:
            raise NotValid.at(code="too_many_lines", detail=_TOO_MANY.format(len(data), MOST_DOCUMENTS))
        self._spend_once(len(data) // 100)
        return take_documents(self.opened, data, options, careful)

    def _spend_once(self, cost: int) -> None:
        """Spend for many lines, and for the requests that stand in this one beside the first."""
        cost += int(self.request.META.get("vineyard.combined", 1)) - 1
        if cost and self._tries == 1:
            self.spend(cost)


_NOTHING: Final = "Some records were refused, so none was stored. Mend them, or send them without atomic=true."
_TOO_MANY: Final = "There are {:,} records; at most {:,} are taken at once. Send them in parts."


def _waited_in_a_ring(error: OperationalError) -> bool:
    return getattr(error.__cause__, "sqlstate", "") in {_DEADLOCK, _SERIALIZATION}


def _places(taken: Taken) -> Iterator[Place]:
    """Give the places of what is wrong in an atomic request, with the line in front."""
    for number, outcome in sorted(taken.outcomes.items()):
        fault = outcome.fault
        if fault is None:
            continue
        for each in fault.errors or ({"path": (), "code": fault.code, "detail": fault.detail},):
            yield Place((number, *each["path"]), each["code"], each["detail"])


def _answer(taken: Taken, *, minimal: bool) -> Response:
    statuses = [outcome.status for outcome in taken.outcomes.values()]
    failed = statuses.count("error")
    summary = {
        "received": len(statuses),
        **{name: statuses.count(name) for name in ("created", "updated", "unchanged")},
        "failed": failed,
    }
    for outcome in ("created", "updated", "unchanged"):
        count_rows(outcome, summary[outcome])
    count_rows("error", failed)
    results = ",".join([_result(taken, number) for number in _shown(taken, minimal=minimal)]).encode()
    doubts = orjson.dumps([_doubt(each) for each in taken.doubts])
    body = b'{"summary":%b,"doubts":%b,"results":[%b]}' % (orjson.dumps(summary), doubts, results)
    headers = {"Preference-Applied": "return=minimal"} if minimal else None
    return Response(body, status=status.HTTP_207_MULTI_STATUS if failed else status.HTTP_200_OK, headers=headers)


def _shown(taken: Taken, *, minimal: bool) -> Sequence[int]:
    numbers = sorted(taken.outcomes)
    return [number for number in numbers if taken.outcomes[number].status == "error"] if minimal else numbers


def _result(taken: Taken, number: int) -> str:
    outcome, row_id = taken.outcomes[number], taken.ids.get(number)
    if outcome.fault is None:
        return f'{{"index":{number},"id":"{row_id}","status":"{outcome.status}","version":{outcome.version}}}'
    result: dict[str, Any] = {"index": number}
    if row_id is not None:
        result["id"] = row_id[:80]
    return orjson.dumps({**result, "status": "error", "error": _error(number, outcome)}, default=_as_json).decode()


def _doubt(each: UnitDoubt) -> dict[str, Any]:
    return {
        "block": each.block_id,
        "sent_unit": each.sent_unit,
        "likely_unit": each.likely_unit,
        "records": each.records,
        "median_kg": round(each.median_kg, 3),
        "median_before_kg": round(each.median_before_kg, 3),
        "detail": each.detail,
    }


def _error(number: int, outcome: Outcome) -> dict[str, Any]:
    fault = cast(Fault, outcome.fault)
    error: dict[str, Any] = {"status": STATUS[fault.code], "code": fault.code, "detail": fault.detail}
    if fault.errors:
        error["errors"] = [
            {"pointer": pointer((number, *each["path"])), "code": each["code"], "detail": each["detail"]}
            for each in fault.errors
        ]
    if isinstance(fault.current, Recorded):
        error["current"] = _shown_record(fault.current)
    return error


def _shown_record(row: Recorded) -> Any:
    kind = next(kind for kind in KINDS.values() if MODELS[kind.name] is type(row))
    return shown_of(kind)(row).data


def _as_json(value: Any) -> Any:
    return float(value) if hasattr(value, "as_tuple") else str(value)
