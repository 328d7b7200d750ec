"""The parsers that settings name; what JSON may hold is decided in ``records.api.documents``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import IO, Any

from django.conf import settings
from django.core.exceptions import RequestDataTooBig
from rest_framework.parsers import BaseParser

from records.api.documents import document_of


class StrictJSONParser(BaseParser):
    """Parse a JSON body, or say where it is wrong.

    It is no subclass of Django REST framework's parser, which lets the last of two equal names win and dies
    of deep nesting.
    """

    media_type = "application/json"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,  # noqa: ARG002
        parser_context: Mapping[str, Any] | None = None,  # noqa: ARG002
    ) -> Any:
        limit = settings.DATA_UPLOAD_MAX_MEMORY_SIZE or 0
        body = stream.read(limit + 1)
        if len(body) > limit:
            raise RequestDataTooBig
        return document_of(body)
