"""Cells of CSV that no spreadsheet takes for a formula, and whose text can be had back exactly."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

#: A spreadsheet, in one setting or another, takes what begins with these for something to carry out; the last four
#: are the full-width forms.  The apostrophe is among them so that taking one away always gives back the text.
RISKY: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "|", "%", "'", "＝", "＋", "－", "＠")


def line_of(cells: Iterable[tuple[str | None, bool]]) -> str:
    """Write one line: numbers bare, every text in quotes, nothing where nothing was measured.

    Quotes hold a text together also for a reader that takes another character for the separator.
    """
    return ",".join(_cell(text, is_number=is_number) for text, is_number in cells) + "\r\n"


def harmless(text: str) -> str:
    """Give a text that begins like a formula an apostrophe; taking one apostrophe away gives the text back."""
    return f"'{text}" if text.lstrip(" \u00a0").startswith(RISKY) else text


def _cell(text: str | None, *, is_number: bool) -> str:
    if text is None:
        return ""
    if is_number:
        return text
    escaped = harmless(text).replace('"', '""')
    return f'"{escaped}"'
