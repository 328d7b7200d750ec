"""The document itself."""

from __future__ import annotations

from typing import Any

import orjson


def render(document: dict[str, Any]) -> bytes:
    """Write the document as it is kept."""
    return orjson.dumps(document, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE)
