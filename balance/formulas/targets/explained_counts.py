"""What explains a count that misses its target, beside slips of arithmetic: the vine itself."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Explained:
    """What the state of the vine says of the count that was left.

    Attributes
    ----------
    nodes : int or None
        What the vine keeps as it is [nodes]; None: not known.
    outcome : str or None
        The count held against that: ``within_tolerance``, ``too_many`` or ``too_few``; None: not known.
    difference : int or None
        Retained less ``nodes`` [nodes].
    sentence : str
    """

    nodes: int | None
    outcome: str | None
    difference: int | None
    sentence: str
