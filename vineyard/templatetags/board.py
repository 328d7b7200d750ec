"""How the board writes figures and the codes of the API."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

from django import template

register = template.Library()

NOTHING: Final = "–"
_UNITS: Final = {"1": "", "%": " %", "kg": " kg", "[lb_av]": " lb", "m": " m", "[ft_i]": " ft", "": ""}
#: A sign beside each standing, so that nobody needs its colour.
_SIGNS: Final = {
    "over": "▲",
    "under": "▼",
    "in_balance": "●",
    "not_known": "○",
    "above": "▲",
    "below": "▼",
    "within": "●",
}
_URGENT: Final = {"now": "Now", "soon": "Soon", "later": "Later"}


@register.filter
def fig(value: Any, digits: int = 0) -> str:
    """Write a number with so many digits after the point; what is not known is a dash."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return NOTHING
    return f"{value:,.{digits}f}".replace("-", "\u2212")


@register.filter
def beside_target(nodes: Any) -> str:
    """Write a mean difference from the targets in words: 0.5 nodes above target."""
    written = fig(abs(nodes), 1)
    if not float(written.replace(",", "")):
        return "on target"
    return f"{written} nodes {'above' if nodes > 0 else 'below'} target"


@register.filter
def said(code: Any) -> str:
    """Write a code of the API as words: ``in_balance`` → In balance."""
    return str(code).replace("_", " ").capitalize() if code else NOTHING


@register.filter
def sign(code: Any) -> str:
    """Give the sign of a standing or a verdict."""
    return _SIGNS.get(str(code), "")


@register.filter
def urgency(code: Any) -> str:
    """Say how urgent something is."""
    return _URGENT.get(str(code), said(code))


@register.filter
def unit(code: Any) -> str:
    """Write a unit as it stands behind a number, with its space."""
    return _UNITS.get(str(code), f" {code}")


@register.filter
def at(column: Any, key: Any) -> Any:
    """Give a member by its name."""
    return column.get(key) if isinstance(column, Mapping) else None
