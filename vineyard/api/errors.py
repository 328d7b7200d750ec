"""Every failure as one problem: which exception means which status is decided here and nowhere else."""

from __future__ import annotations

import logging
import math
from collections.abc import Callable
from typing import Any, Final

from django.core.exceptions import PermissionDenied, RequestDataTooBig, SuspiciousOperation
from django.db import DataError, IntegrityError
from django.http import Http404
from rest_framework import exceptions as drf
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.views import set_rollback

from records import errors as records
from records.api.documents import UnfitValues
from records.api.faults import break_rules_only, in_body, in_query, of_refusal, place_in
from records.api.strict import InvalidQuery
from records.bulk.inflating import TooLargeInflated
from vineyard.api.answers import RETRY_AFTER_SECONDS, is_away, kind_of_status
from vineyard.api.bodies import ENDED_EARLY, BodyEndedEarly, too_large
from vineyard.api.constraints import said_by
from vineyard.api.problems import CONTENT_TYPE, KINDS, Kind, problem
from vineyard.api.renderers import ProblemRenderer
from vineyard.api.throttling import TooManyRequests, refuse_many_wrong_keys

log = logging.getLogger("vineyard.api")

#: Class of refusal → kind of problem; a class without a row of its own is answered as its base is.
REFUSALS: Final[dict[type[records.Refusal], str]] = {
    records.NotFound: "not_found",
    records.NotAllowed: "not_allowed",
    records.NotValid: "not_valid",
    records.Stale: "stale",
    records.IdInUse: "id_in_use",
    records.IdUnavailable: "id_unavailable",
    records.AlreadyRecorded: "already_recorded",
    records.Withdrawn: "withdrawn",
    records.CursorExpired: "cursor_expired",
    records.UnderWay: "under_way",
    records.AnswerNotKept: "answer_not_kept",
    records.KeyReused: "idempotency_key_reused",
    records.Conflict: "conflict",
    records.Expired: "expired",
    records.NotARecord: "validation_error",
    records.Refusal: "not_valid",
}


def problem_handler(exception: Exception, context: dict[str, Any]) -> Response | None:
    """Turn an exception from a view into a problem; ``None`` lets the last net answer 500."""
    request = context.get("request")
    answer = _problem_of(exception, context)
    if answer is None:
        return None
    set_rollback()
    if request is not None:  # so that a view of HTML, YAML or CSV does not write its problems in that form
        request.accepted_renderer, request.accepted_media_type = ProblemRenderer(), CONTENT_TYPE
    kind, detail, more, headers = answer
    body = problem(
        kind,
        detail,
        instance=getattr(request, "path", ""),
        request_id=getattr(request, "request_id", ""),
        **more,
    )
    return Response(body, status=kind.status, headers=headers, content_type=CONTENT_TYPE)


_Answer = tuple[Kind, str, dict[str, Any], dict[str, str]]


def _problem_of(exception: Exception, context: dict[str, Any]) -> _Answer | None:
    if is_away(exception):
        return _unavailable(exception, context)
    for kind_of_exception, answer in _HANDLERS:
        if isinstance(exception, kind_of_exception):
            return answer(exception, context)
    return None


def _invalid(exception: drf.ValidationError, _: dict[str, Any]) -> _Answer:
    errors = _errors_of(exception)
    places = {error.get("pointer", error.get("parameter")) for error in errors}
    one_place = " ".join(error["detail"] for error in errors)
    detail = one_place if len(places) == 1 else f"{len(places)} members or parameters are not valid."
    by_rule = break_rules_only(error["code"] for error in errors)
    return KINDS["not_valid" if by_rule else "validation_error"], detail, {"errors": errors}, {}


def _errors_of(exception: drf.ValidationError) -> list[dict[str, Any]]:
    if isinstance(exception, UnfitValues):
        return of_refusal(exception.faults)
    return in_query(exception.detail) if isinstance(exception, InvalidQuery) else in_body(exception.detail)


def _refusal(exception: records.Refusal, context: dict[str, Any]) -> _Answer:
    code = next(REFUSALS[each] for each in type(exception).__mro__ if each in REFUSALS)
    current = exception.data.get("current")
    more: dict[str, Any] = {"errors": of_refusal(exception.faults, place_in(context["request"]))}
    headers: dict[str, str] = {}
    if current is not None:
        headers["ETag"] = f'"{current.version}"'
        more |= {"current_version": current.version, "current": _shown(current, context)}
    if "retry_after" in exception.data:
        headers["Retry-After"] = exception.data["retry_after"]
    return KINDS[code], exception.detail, more, headers


def _shown(current: Any, context: dict[str, Any]) -> Any:
    """Give the row that stands in the way as the endpoint itself would show it."""
    view = context.get("view")
    serializer: type[BaseSerializer[Any]] | None = getattr(view, "serializer_class", None)
    shows = getattr(getattr(serializer, "Meta", None), "model", None)
    if view is None or serializer is None or shows is not type(current):
        return None
    return serializer(current, context={"roles": {}, "view": view}).data


def _api_exception(exception: drf.APIException, _: dict[str, Any]) -> _Answer:
    kind = KINDS.get(str(exception.get_codes()))
    if kind is None or kind.status != exception.status_code:
        kind = kind_of_status(exception.status_code) or KINDS["bad_request"]
    detail = str(exception.detail)
    header = getattr(exception, "header", None) or _HEADER_AT_FAULT.get(kind.status)
    errors = [{"header": header, "code": kind.code, "detail": detail}] if header else None
    headers = {}
    if getattr(exception, "auth_header", None):
        headers["WWW-Authenticate"] = str(exception.auth_header)  # type: ignore[attr-defined]
    if getattr(exception, "wait", None):
        headers["Retry-After"] = str(math.ceil(exception.wait))  # type: ignore[attr-defined]
    return kind, detail, {"errors": errors}, headers


def _not_authenticated(exception: drf.NotAuthenticated, context: dict[str, Any]) -> _Answer:
    exception.detail = drf.ErrorDetail(_NO_KEY, "not_authenticated")
    return _api_exception(exception, context)


_NO_KEY: Final = "No key was sent. Send yours as Authorization: Bearer vine_…."


def _not_acceptable(exception: drf.NotAcceptable, context: dict[str, Any]) -> _Answer:
    forms = ", ".join(dict.fromkeys(each.media_type for each in exception.available_renderers or ()))
    sentence = f"Accept asks for no form that this address answers in. Send one of these, or no Accept: {forms}."
    return _api_exception(drf.NotAcceptable(sentence), context)


def _not_understood(_: drf.UnsupportedMediaType, context: dict[str, Any]) -> _Answer:
    sent = (getattr(context["request"], "content_type", "") or "").partition(";")[0][:80]
    forms = ", ".join(each.media_type for each in context["view"].get_parsers())
    body = f"A body of {sent!r} is not understood here." if sent else "The body has no Content-Type."
    return _api_exception(drf.UnsupportedMediaType(sent, f"{body} Send one of these: {forms}."), context)


def _wrong_key(exception: drf.AuthenticationFailed, context: dict[str, Any]) -> _Answer:
    try:
        refuse_many_wrong_keys(context["request"])
    except TooManyRequests as too_many:
        return _api_exception(too_many, context)
    return _api_exception(exception, context)


#: Status → the header that brought it about, where a header did.
_HEADER_AT_FAULT: Final = {
    401: "Authorization",
    406: "Accept",
    412: "If-Match",
    415: "Content-Type",
    428: "If-Match",
}


def _integrity(exception: IntegrityError, _: dict[str, Any]) -> _Answer:
    kind, sentence, errors = said_by(exception)
    return kind, sentence, {"errors": errors}, {}


def _ended_early(_: Exception, __: dict[str, Any]) -> _Answer:
    return KINDS["bad_request"], ENDED_EARLY, {}, {}


def _data(_: DataError, __: dict[str, Any]) -> _Answer:
    return KINDS["not_valid"], "A value is too large or too long to be stored.", {}, {}


def _unavailable(exception: Exception, _: dict[str, Any]) -> _Answer:
    log.warning("database unavailable: %s", type(exception.__cause__ or exception).__name__)
    detail = "The records cannot be reached, or the request took longer than it may. Nothing was stored."
    return KINDS["unavailable"], detail, {}, {"Retry-After": RETRY_AFTER_SECONDS}


def _not_found(_: Exception, __: dict[str, Any]) -> _Answer:
    return KINDS["not_found"], "There is nothing of yours at this address.", {}, {}


def _forbidden(_: Exception, __: dict[str, Any]) -> _Answer:
    return KINDS["not_allowed"], "This caller may not do this.", {}, {}


def _too_large(_: RequestDataTooBig, context: dict[str, Any]) -> _Answer:
    return KINDS["too_large"], too_large(context["request"].path), {}, {}


def _too_large_inflated(exception: TooLargeInflated, _: dict[str, Any]) -> _Answer:
    return KINDS["too_large"], str(exception), {}, {}


def _suspicious(_: Exception, __: dict[str, Any]) -> _Answer:
    return KINDS["bad_request"], "The request holds something that no request may hold.", {}, {}


_HANDLERS: Final[tuple[tuple[type[Exception], Callable[..., _Answer]], ...]] = (
    (drf.ValidationError, _invalid),
    (records.Refusal, _refusal),
    (drf.AuthenticationFailed, _wrong_key),
    (drf.NotAuthenticated, _not_authenticated),
    (drf.NotAcceptable, _not_acceptable),
    (drf.UnsupportedMediaType, _not_understood),
    (drf.APIException, _api_exception),
    (Http404, _not_found),
    (PermissionDenied, _forbidden),
    (RequestDataTooBig, _too_large),
    (TooLargeInflated, _too_large_inflated),
    (BodyEndedEarly, _ended_early),
    (SuspiciousOperation, _suspicious),
    (IntegrityError, _integrity),
    (DataError, _data),
)
