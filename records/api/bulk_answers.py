"""What a bulk request is answered: a result for each line, in the order of the request."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final, cast

import orjson
from rest_framework import serializers, status
from rest_framework.response import Response

from records.api.faults import pointer
from records.api.kind_fields import shown_of
from records.bulk.rows import Fault
from records.bulk.storing import Outcome
from records.bulk.taking import Taken
from records.errors import Fault as Place
from records.kinds import KINDS
from records.models.recorded import Recorded
from records.services.recording import MODELS
from records.services.unit_doubts import UnitDoubt
from records.signals import count_rows

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


def places_of_faults(taken: Taken) -> Iterator[Place]:
    """Give the places of what is wrong in an atomic request, with the line in front."""
    for number, outcome in sorted(taken.outcomes.items()):
        fault = outcome.fault
        if fault is None:
            continue
        for each in fault.errors or ({"path": (), "code": fault.code, "detail": fault.detail},):
            yield Place((number, *each["path"]), each["code"], each["detail"])


def answer_of(taken: Taken, *, minimal: bool) -> Response:
    """Give the answer: 200 where every line is good, 207 where some are not."""
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
