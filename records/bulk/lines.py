"""The lines of a body, and what is told of one without reading it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from hashlib import blake2b
from typing import Final, TypeVar

T = TypeVar("T")
R = TypeVar("R")
_KIND: Final = re.compile(rb'"kind"\s?:\s?"([a-z_]{1,40})"')


def lines_of(body: bytes) -> list[bytes]:
    r"""Give the lines that hold anything.

    Examples
    --------
    >>> lines_of(b'{"a": 1}\r\n\n  \n{"b": 2}\n')
    [b'{"a": 1}', b'{"b": 2}']
    """
    if b"\r" in body or b" \n" in body or b"\t" in body or body.endswith(b" "):
        return [line for line in body.replace(b"\r\n", b"\n").split(b"\n") if line and not line.isspace()]
    return list(filter(None, body.split(b"\n")))


def kind_in(line: bytes) -> re.Match[bytes] | None:
    """Find the kind that a line names; its first group is the name."""
    return _KIND.search(line)


def digest_of_line(line: bytes) -> str:
    """Give the digest by which a line is known again, byte by byte; it stands in a column of ids."""
    return blake2b(line, digest_size=16).hexdigest()


def in_parts(items: Sequence[T], size: int) -> Iterator[Sequence[T]]:
    """Give the items in parts of at most so many."""
    for start in range(0, len(items), size):
        yield items[start : start + size]


def made_ahead(items: Sequence[T], size: int, make: Callable[[Sequence[T]], R]) -> Iterator[tuple[Sequence[T], R]]:
    """Make something of each part, one part ahead of the caller, in a thread of its own; one part needs no thread."""
    if len(items) <= size:
        yield items, make(items)
        return
    with ThreadPoolExecutor(1, thread_name_prefix="reading") as pool:
        ahead: tuple[Sequence[T], Future[R]] | None = None
        for part in in_parts(items, size):
            coming = part, pool.submit(make, part)
            if ahead is not None:
                yield ahead[0], ahead[1].result()
            ahead = coming
        if ahead is not None:
            yield ahead[0], ahead[1].result()


def array_of(texts: Sequence[bytes]) -> str:
    """Write ids as one array, which costs a parameter and not an object each."""
    return (b"{" + b",".join(texts) + b"}").decode()
