"""JSON out."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import orjson
from rest_framework.renderers import BaseRenderer

from vineyard.api.problems import CONTENT_TYPE

_OPTIONS = orjson.OPT_PASSTHROUGH_DATETIME | orjson.OPT_NON_STR_KEYS


class OrjsonRenderer(BaseRenderer):
    """JSON by orjson; bodies that are bytes already pass through."""

    media_type = "application/json"
    format = "json"
    charset = None

    def render(
        self,
        data: Any,
        accepted_media_type: str | None = None,  # noqa: ARG002
        renderer_context: Mapping[str, Any] | None = None,  # noqa: ARG002
    ) -> bytes:
        if data is None:
            return b""
        return data if isinstance(data, bytes) else orjson.dumps(data, default=as_json, option=_OPTIONS)


class ProblemRenderer(OrjsonRenderer):
    """A problem, whatever form the view's good answers take."""

    media_type = CONTENT_TYPE
    format = "problem"


def as_json(value: Any) -> Any:
    """Give what orjson does not know: a Decimal as a number of at most 15 digits, an instant in UTC, else text."""
    if isinstance(value, Decimal):
        return int(value) if value == value.to_integral_value() and abs(value) < 10**15 else float(f"{value:.15g}")
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().removesuffix("+00:00") + "Z"
    if isinstance(value, Mapping):
        return dict(value)
    if isinstance(value, list | tuple):
        return list(value)
    return str(value)
