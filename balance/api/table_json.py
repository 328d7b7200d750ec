"""Write a table as a JSON list of objects, column by column instead of row by row.

Every value of a column is given the same width, so that a whole table is one block of memory: JSON allows
spaces between its tokens, and they take the place of the padding.  On 10,000 rows of 14 members this takes a
third of the time that formatting row by row takes (``tests/bench``).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import orjson
from numpy.typing import NDArray

Column = NDArray[np.bytes_]
_PADDING_IS_SPACE = bytes([0x20, *range(1, 256)])
_HEX = np.frombuffer("".join(f"{byte:02x}" for byte in range(256)).encode(), dtype="S2")
#: Where the digits of a UUID stand in its text of 36 characters, between quotes.
_DIGITS = [place + 1 for place in range(36) if place not in {8, 13, 18, 23}]


def rows_as_json(columns: Mapping[str, Column]) -> bytes:
    """Write columns of JSON values, all of one length, as the inside of a list of objects."""
    size = len(next(iter(columns.values())))
    if not size:
        return b""
    layout: list[tuple[str, str]] = []
    for name, values in columns.items():
        layout += [(f"name of {name}", f"S{len(name) + 4}"), (name, values.dtype.str)]
    table = np.empty(size, dtype=[*layout, ("end", "S2")])
    for number, (name, values) in enumerate(columns.items()):
        table[f"name of {name}"] = f'{"," if number else "{"}"{name}":'.encode()
        table[name] = values
    table["end"] = b"},"
    table["end"][-1] = b"}"
    return table.tobytes().translate(_PADDING_IS_SPACE)


def ids(raw: bytes) -> Column:
    """Write UUIDs, packed as 16 bytes each, as JSON text; sixteen zero bytes are null."""
    digits = _HEX[np.frombuffer(raw, dtype=np.uint8)].view("S1").reshape(-1, 32)
    text = np.full((len(digits), 38), b"-", dtype="S1")
    text[:, 0] = text[:, 37] = b'"'
    text[:, _DIGITS] = digits
    written = text.view("S38").ravel()
    nobody = np.frombuffer(raw, dtype=np.uint64).reshape(-1, 2).sum(axis=1) == 0
    written[nobody] = b"null"
    return written


def numbers(values: NDArray[np.float64] | NDArray[np.integer[Any]]) -> Column:
    """Write numbers; NaN is null."""
    return _written(values)


def whole_numbers(values: NDArray[np.float64]) -> Column:
    """Write whole numbers held as floats; NaN is null."""
    missing = np.isnan(values)
    written = _written(np.where(missing, 0, values).astype(np.int64))
    if missing.any():
        written = written.astype(f"S{max(4, written.dtype.itemsize)}")
        written[missing] = b"null"
    return written


def words(values: NDArray[np.str_], known: Sequence[str]) -> Column:
    """Write words of a known few; any other is null."""
    written = np.full(values.size, b"null", dtype=f"S{max(map(len, known)) + 2}")
    for word in known:
        written[values == word] = f'"{word}"'.encode()
    return written


def _written(values: NDArray[Any]) -> Column:
    if not values.size:
        return np.empty(0, dtype="S1")
    listed = orjson.dumps(np.ascontiguousarray(values), option=orjson.OPT_SERIALIZE_NUMPY)
    return np.array(listed[1:-1].split(b","))
