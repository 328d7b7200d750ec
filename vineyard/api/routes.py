"""Write Django's routes as the OpenAPI document writes them: ``/api/v1/farms/{farm}``."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final

_PARAMETER: Final = re.compile(r"<(?:[^:>]+:)?([^>]+)>")


@lru_cache(maxsize=1_000)
def template_of(route: str) -> str:
    """Give the template of a route.

    >>> template_of("api/v1/farms/<uuid:farm>/blocks")
    '/api/v1/farms/{farm}/blocks'
    >>> template_of("")
    '/'
    """
    return "/" + _PARAMETER.sub(r"{\1}", route)
