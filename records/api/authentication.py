"""Tell who calls from the key in the request."""

from __future__ import annotations

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from records.models import ApiKey, Person
from records.services.keys import find_key, note_use


class ApiKeyAuthentication(BaseAuthentication):
    """A key in ``Authorization: Bearer …``."""

    def authenticate(self, request: Request) -> tuple[Person, ApiKey] | None:
        kind, _, text = get_authorization_header(request).decode("latin-1").partition(" ")
        if not kind:
            return None
        if kind.lower() != "bearer":
            raise AuthenticationFailed("Send the key as 'Authorization: Bearer vine_…'.", code="not_authenticated")
        key = find_key(text.strip())
        if key is None:
            raise AuthenticationFailed(
                "No key in force reads like this. Check it for a missing character, or ask for a new one.",
                code="authentication_failed",
            )
        note_use(key)
        return key.person, key

    def authenticate_header(self, request: Request) -> str:  # noqa: ARG002
        return 'Bearer realm="vineyard"'


class ApiKeyScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """How the OpenAPI document describes the key."""

    target_class = "records.api.authentication.ApiKeyAuthentication"
    name = "key"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:  # noqa: ARG002
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "A key such as `vine_0a1b2c3d_…`. `serve --demo` prints one for each person of the cast.",
        }
