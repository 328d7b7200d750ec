"""The bodies of bulk requests: lines taken as they are, perhaps compressed, and how one is read the careful way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import IO, Any

from django.core.exceptions import RequestDataTooBig
from rest_framework.exceptions import ErrorDetail, ParseError, ValidationError
from rest_framework.parsers import BaseParser

from records.api.documents import MalformedJSON, UnfitValues, document_of
from records.api.faults import break_rules_only, flatten
from records.api.kind_fields import sent_by
from records.bulk import LARGEST_BODY, LONGEST_LINE
from records.bulk.inflating import NotCompressed, inflated
from records.bulk.rows import Fault
from records.errors import Fault as Place
from records.errors import Refusal
from records.kinds import Kind


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
        except NotCompressed as error:
            raise ParseError(str(error)) from error


class Table(Lines):
    """A body that is a table of one kind of record, taken as it is."""

    media_type = "text/csv"


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
