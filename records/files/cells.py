"""From the cells of a line to the members of a record as its own endpoint takes them, and back.

Nothing is judged here: what cannot be read as a number stays the text that it is, and the kind's own validation says
what is wrong with it.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any, Final
from zoneinfo import ZoneInfo

from records.exporting.cells import harmless
from records.files.columns import NONE
from records.imports.checking import is_blank, number_of
from records.kinds.members import Count, Flag, Measured, Member, Number, Several, Stage, Text

_YES_OR_NO: Final = {"yes": True, "true": True, "no": False, "false": False}
#: Scales whose codes are two digits; a spreadsheet drops the leading nought of 05.
_TWO_DIGITS: Final = {"bbch", "eichhorn_lorenz"}


def said_of(member: Member, cells: Mapping[str, str], unit: str, *, decimal_comma: bool) -> tuple[bool, Any]:
    """Give whether the cells say a member, and what they say."""
    text = cells.get(member.name, "")
    if isinstance(member, Stage):
        return _stage(cells.get(f"{member.name}_scale", ""), cells.get(f"{member.name}_code", ""))
    if isinstance(member, Text):
        return bool(text), unharmed(text)
    if is_blank(text):
        return False, None
    if isinstance(member, Measured):
        written = cells.get(f"{member.name}_unit", "") or unit
        return True, {"value": _number(text, decimal_comma=decimal_comma), **({"unit": written} if written else {})}
    return True, _plain(member, text, decimal_comma=decimal_comma)


def _plain(member: Member, text: str, *, decimal_comma: bool) -> Any:
    if isinstance(member, Count | Number):
        return _number(text, decimal_comma=decimal_comma)
    if isinstance(member, Flag):
        return _YES_OR_NO.get(text.lower(), text)
    return _words(text) if isinstance(member, Several) else text


def _number(text: str, *, decimal_comma: bool) -> Decimal | str:
    number = number_of(text, decimal_comma=decimal_comma)
    return text if number is None else number


def _words(text: str) -> list[str]:
    if text.lower() == NONE:
        return []
    return [word.strip() for word in text.replace(",", ";").split(";") if word.strip()]


def _stage(scale: str, code: str) -> tuple[bool, Any]:
    if not scale and not code:
        return False, None
    padded = code.zfill(2) if scale in _TWO_DIGITS and code.isascii() and code.isdecimal() else code
    return True, {name: value for name, value in (("scale", scale), ("code", padded)) if value}


def unharmed(text: str) -> str:
    """Take away the apostrophe that keeps a spreadsheet from taking a text for a formula."""
    return text[1:] if text.startswith("'") and harmless(text[1:]) == text else text


def instant_of(text: str, time_zone: str) -> str:
    """Give a time with its offset: as it is written, or in the farm's own time; of a date alone, its noon."""
    try:
        local = (
            datetime.combine(date.fromisoformat(text), time(12)) if len(text) == 10 else datetime.fromisoformat(text)
        )
    except ValueError:
        return text
    return (local if local.tzinfo else local.replace(tzinfo=ZoneInfo(time_zone))).isoformat()
