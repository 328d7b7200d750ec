"""The OpenAPI document as it is served: written once a process, because that takes a second and anybody may ask."""

from __future__ import annotations

import gzip
from dataclasses import dataclass
from functools import cache
from hashlib import blake2b
from threading import Lock
from typing import Any, Final

import orjson
from django.http import HttpResponse
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.renderers import OpenApiJsonRenderer2, OpenApiYamlRenderer2
from drf_spectacular.utils import extend_schema
from drf_spectacular.views import SpectacularAPIView
from rest_framework.permissions import AllowAny
from rest_framework.request import Request

from balance.api.known_answers import not_changed

_writing: Final = Lock()


@dataclass(frozen=True)
class Written:
    """The document in one format, plain and compressed, and the tag by which it is known again."""

    plain: bytes
    compressed: bytes
    tag: str

    @classmethod
    def of(cls, plain: bytes) -> Written:
        return cls(plain, gzip.compress(plain, mtime=0), blake2b(plain, digest_size=12).hexdigest())


def written_as(file_format: str) -> Written:
    """Give the document as ``json`` or ``yaml``; of several who ask first, one writes it and the others wait."""
    with _writing:
        return _written_as(file_format)


@cache
def _written_as(file_format: str) -> Written:
    document = SchemaGenerator().get_schema(request=None, public=True)  # type: ignore[no-untyped-call]
    if file_format == "yaml":
        return Written.of(OpenApiYamlRenderer2().render(document))  # type: ignore[no-untyped-call]
    written = OpenApiJsonRenderer2().render(document)
    return Written.of(orjson.dumps(orjson.loads(written)))  # half of what it writes is indentation


class OpenApiJson(SpectacularAPIView):
    """The OpenAPI document as JSON."""

    renderer_classes = [OpenApiJsonRenderer2]
    authentication_classes = []
    permission_classes = [AllowAny]

    @extend_schema(exclude=True)
    def get(self, request: Request, *args: Any, **kwargs: Any) -> HttpResponse:  # noqa: ARG002
        renderer = request.accepted_renderer
        written = written_as(renderer.format)
        packed = "gzip" in request.headers.get("Accept-Encoding", "")
        marks = {
            "ETag": f'W/"{written.tag}"',  # weak: one tag, plain or compressed
            "Cache-Control": "no-cache",  # kept, and asked for anew each time
            "Vary": "Accept-Encoding",
        }
        shown = {"Content-Disposition": f'inline; filename="openapi.{renderer.format}"'}
        if packed:
            shown["Content-Encoding"] = "gzip"
        return not_changed(request, marks) or HttpResponse(
            written.compressed if packed else written.plain,
            content_type=renderer.media_type,
            headers={**marks, **shown},
        )


class OpenApiYaml(OpenApiJson):
    """The OpenAPI document as YAML."""

    renderer_classes = [OpenApiYamlRenderer2]
