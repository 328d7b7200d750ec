"""Refusal of what the writer of charts does not draw."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any


class NotInSubset(ValueError):
    """A specification says something that our writer does not draw; nothing is left out silently."""


def only(what: str, told: Mapping[str, Any], known: Collection[str]) -> None:
    """Refuse members that are not among the known ones."""
    unknown = sorted(set(told) - set(known))
    if unknown:
        raise NotInSubset(f"{what} has {unknown[0]!r}, which is not drawn here.")
