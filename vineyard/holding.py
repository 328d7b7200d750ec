"""The stack that this process holds, if it holds one: the commands add their children to it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from vineyard.stack import Children, Stack, end_with_launcher

_held: list[Stack] = []


@contextmanager
def stack_in(folder: Path) -> Iterator[Stack]:
    """Bring up the stack of a folder and hold it until the end."""
    end_with_launcher()
    stack = Stack(folder)
    with stack:
        _held.append(stack)
        try:
            yield stack
        finally:
            _held.remove(stack)


def children() -> Children:
    """Give the children of the stack that this process holds; without one, children of their own."""
    if _held:
        return _held[0].children
    end_with_launcher()
    return Children()
