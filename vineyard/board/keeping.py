"""The cookie that keeps who is signed in to the board, and the units that they read in.

It holds a key, signed with the time.  Signed, so that the service and not the browser decides how long it is good for,
and no cookie that was made elsewhere is taken.  Not encrypted: whoever holds the cookie can do as much with it sealed.
What it holds is worth little instead: where the typed key may make keys, one is made for these pages that only reads
and ends with the working day, and the typed one is kept nowhere.  HttpOnly: no script sees it.  SameSite=Strict: no
other site sends it.  Its path is the board's own: no other address gets it.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any, Final

from django.conf import settings
from django.core import signing
from django.http import HttpRequest
from django.http.response import HttpResponseBase

#: A working day.
GOOD_FOR_SECONDS: Final = 12 * 3_600
NAME: Final = "__Secure-board" if settings.CSRF_COOKIE_SECURE else "board"
PATH: Final = "/board"
METRIC: Final = "metric"
UNITS: Final = (METRIC, "us")
_SALT: Final = "vineyard.board"


@dataclass(frozen=True)
class Kept:
    """What the cookie keeps: the key, its id where it was made for these pages, and the units."""

    secret: str
    made: str = ""
    units: str = METRIC

    def __repr__(self) -> str:
        return f"Kept(made={self.made!r}, units={self.units!r})"  # never the key

    def with_units(self, units: str) -> Kept:
        return replace(self, units=units)


def kept_in(request: HttpRequest) -> Kept | None:
    """Give what the cookie of a request keeps; nothing of one that is missing, too old or not from here."""
    try:
        told: dict[str, Any] = signing.loads(request.COOKIES.get(NAME, ""), salt=_SALT, max_age=GOOD_FOR_SECONDS)
        return Kept(**told)
    except (signing.BadSignature, TypeError):
        return None


def keep(response: HttpResponseBase, kept: Kept) -> None:
    """Let the browser keep it."""
    sealed = signing.dumps(asdict(kept), salt=_SALT)
    response.set_cookie(
        NAME,
        sealed,
        max_age=GOOD_FOR_SECONDS,
        path=PATH,
        secure=settings.CSRF_COOKIE_SECURE,
        httponly=True,
        samesite="Strict",
    )


def forget(response: HttpResponseBase) -> None:
    """Let the browser forget it."""
    response.delete_cookie(NAME, path=PATH, samesite="Strict")
