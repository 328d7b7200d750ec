"""A number of things, in the singular where there is one."""

from __future__ import annotations


def how_many(number: int, one: str, several: str = "") -> str:
    """Write how many of something.

    Examples
    --------
    >>> how_many(1, "node"), how_many(0, "node"), how_many(12, "vine"), how_many(1, "node was", "nodes were")
    ('1 node', '0 nodes', '12 vines', '1 node was')
    """
    return f"{number:,} {one if number == 1 else several or f'{one}s'}"
