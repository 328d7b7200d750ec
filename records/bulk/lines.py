"""The lines of a body."""

from __future__ import annotations


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
