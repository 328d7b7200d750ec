"""Compressed lines: inflated bit by bit, and given up as soon as they grow beyond what a request may bring."""

from __future__ import annotations

import zlib
from typing import Final

from records.bulk import LARGEST_BODY

#: Lines of records shrink to a tenth or so; a hundredfold is a bomb.
MOST_GROWTH: Final = 100
_STEP: Final = 1_000_000
_GZIP: Final = 31  # zlib's number for a gzip frame with the largest window


class TooLargeInflated(Exception):
    """The body grows beyond its limit."""


class NotCompressed(Exception):
    """The body is not one whole gzip frame."""


def inflated(body: bytes, limit: int = LARGEST_BODY) -> bytes:
    """Give what a gzip body holds.

    Raises
    ------
    TooLargeInflated
        It holds more than the limit, or more than a hundred times its own size.
    NotCompressed
        It is not gzip, is cut off, or goes on after its end.
    """
    most = min(limit, max(len(body) * MOST_GROWTH, _STEP))
    machine, parts, size, rest = zlib.decompressobj(_GZIP), [], 0, body
    try:
        while not machine.eof:
            part = machine.decompress(rest, _STEP)
            rest = machine.unconsumed_tail
            if not part and not rest:
                raise NotCompressed("The body ends before its compressed content does. Send it again.")
            parts.append(part)
            size += len(part)
            if size > most:
                raise TooLargeInflated(f"The body grows beyond {most:,} bytes when it is inflated. Send it in parts.")
    except zlib.error as error:
        raise NotCompressed("The body is not gzip, though Content-Encoding says so.") from error
    if machine.unused_data:
        raise NotCompressed("Something stands after the compressed content. Send one gzip frame.")
    return b"".join(parts)
