"""How the parameters of addresses read in the OpenAPI document, with the bounds that the views hold them to."""

from __future__ import annotations

from typing import Any, Final

#: What no text may hold, as ``strict`` refuses it; a lone surrogate is no character that JSON in UTF-8 could carry.
_CONTROL: Final = r"\u007f-\u009f\u202a-\u202e\u2066-\u2069"
HIDDEN: Final = rf"\u0000-\u001f{_CONTROL}"
HIDDEN_IN_LINES: Final = rf"\u0000-\u0008\u000b-\u001f{_CONTROL}"

SEASON: Final[dict[str, Any]] = {"type": "integer", "minimum": 1900, "maximum": 2100}
ROW_NUMBER: Final[dict[str, Any]] = {"type": "integer", "minimum": 1, "maximum": 9999}

#: A version of a formula or range, as an address names it.
VERSION_NAMED: Final[dict[str, Any]] = {
    "type": "string",
    "maxLength": 65,
    "pattern": "^[A-Za-z0-9][A-Za-z0-9_.-]*@[1-9][0-9]{0,3}$",
}


def text_of(longest: int) -> dict[str, Any]:
    """Give the schema of a text that is not blank."""
    return {"type": "string", "minLength": 1, "maxLength": longest, "pattern": seen(HIDDEN)}


def seen(hidden: str) -> str:
    """Give the pattern of a text without hidden characters and with one that can be seen."""
    return rf"^[^{hidden}]*[^{hidden}\s][^{hidden}]*$"
