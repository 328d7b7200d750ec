"""Clients that work at the same time."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import chain
from typing import TypeVar

Item = TypeVar("Item")
Given = TypeVar("Given")


def share_out(items: Sequence[Item], hands: int, work: Callable[[Sequence[Item]], Iterable[Given]]) -> list[Given]:
    """Let each hand work through its share at the same time as the others; gives all that they gave."""
    with ThreadPoolExecutor(hands) as threads:
        return list(chain.from_iterable(threads.map(work, [items[n::hands] for n in range(hands)])))


def all_at_once(hands: int, work: Callable[[int], Given]) -> list[Given]:
    """Let every hand do the same; each is told which one it is."""
    with ThreadPoolExecutor(hands) as threads:
        return list(threads.map(work, range(hands)))
