"""Whether what the service shows is what was sent: the same words, number, instant or list, not something like it."""

from __future__ import annotations

import unicodedata
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import Any


def same(sent: Any, shown: Any) -> bool:
    """Tell whether a value that was accepted is the value that is shown."""
    if isinstance(sent, dict):
        return isinstance(shown, dict) and all(same(value, shown.get(name)) for name, value in sent.items())
    if isinstance(sent, list):
        return isinstance(shown, list) and len(sent) == len(shown) and all(map(same, sent, shown))
    if sent is None or isinstance(sent, bool) or isinstance(shown, bool):
        return sent is shown
    if isinstance(shown, int | float):
        return _number(sent) == Decimal(repr(shown))
    return isinstance(sent, str) and isinstance(shown, str) and _text(sent, shown)


def _number(sent: Any) -> Decimal | None:
    try:
        return Decimal(str(sent))
    except InvalidOperation:
        return None


def _text(sent: str, shown: str) -> bool:
    composed = unicodedata.normalize("NFC", sent).strip()
    if shown in {composed, composed.lower()} or shown.startswith(f"{composed}@"):  # an id; a formula and its version
        return True
    try:
        return datetime.fromisoformat(sent) == datetime.fromisoformat(shown)
    except (ValueError, TypeError):
        return False
