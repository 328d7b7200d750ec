"""What a limit is; it needs no settings, because the settings name the limits."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Limit:
    """So many tokens at once, and so many again in every such span of time."""

    name: str
    amount: int
    seconds: int
