"""Write a table as a JSON list of objects, column by column instead of row by row.

Every value of a column is given the same width, so that a whole table is one block of memory: JSON allows
spaces between its tokens, and they take the place of the padding.  On 10,000 rows of 14 members this takes a
third of the time that formatting row by row takes (``tests/bench``).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import chain
from typing import Any

import numpy as np
import orjson
from numpy.typing import NDArray

Column = NDArray[np.bytes_]
_PADDING_IS_SPACE = bytes([0x20, *range(1, 256)])
_HEX = np.frombuffer("".join(f"{byte:02x}" for byte in range(256)).encode(), dtype="S2")
#: Where the digits of a UUID stand in its text of 36 characters, between quotes.
_DIGITS = [place + 1 for place in range(36) if place not in {8, 13, 18, 23}]


def rows_as_json(*parts: Column) -> bytes | memoryview:
    """Write the inside of a list of objects, each made of the members that the parts give for it."""
    size = len(parts[0])
    if not size:
        return b""
    layout = [(f"part {number}", part.dtype.str) for number, part in enumerate(parts)]
    marks = [(f"before {number}", "S1") for number in range(len(parts))]
    table = np.empty(size, dtype=[*chain.from_iterable(zip(marks, layout, strict=True)), ("end", "S2")])
    for number, part in enumerate(parts):
        table[f"before {number}"] = b"," if number else b"{"
        table[f"part {number}"] = part
    table["end"] = b"},"
    return table.view(np.uint8).data[:-1]


def members(columns: Mapping[str, Column]) -> Column:
    """Write the members of every row, with their names: a part of its object."""
    size = len(next(iter(columns.values())))
    layout: list[tuple[str, str]] = []
    for name, values in columns.items():
        layout += [(f"name of {name}", f"S{len(name) + 4}"), (name, values.dtype.str)]
    table = np.empty(size, dtype=layout)
    for number, (name, values) in enumerate(columns.items()):
        table[f"name of {name}"] = f'{"," if number else ""}"{name}":'.encode()
        table[name] = values
    return np.frombuffer(table.tobytes().translate(_PADDING_IS_SPACE), dtype=f"S{table.dtype.itemsize}")


def ids(packed: NDArray[np.uint8]) -> Column:
    """Write UUIDs, 16 bytes a row, as JSON text; sixteen zero bytes are null."""
    digits = _HEX[np.ascontiguousarray(packed).ravel()].view("S1").reshape(-1, 32)
    text = np.full((len(digits), 38), b"-", dtype="S1")
    text[:, 0] = text[:, 37] = b'"'
    text[:, _DIGITS] = digits
    written = text.view("S38").ravel()
    written[~packed.any(axis=1)] = b"null"
    return written


def numbers(values: NDArray[np.float64] | NDArray[np.integer[Any]]) -> Column:
    """Write numbers; NaN is null."""
    return _written(values)


def whole_numbers(values: NDArray[np.float64]) -> Column:
    """Write whole numbers held as floats; NaN is null."""
    if _is_one_value(values):
        return np.full(values.size, f"{values[0]:.0f}".encode())
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


def _is_one_value(values: NDArray[Any]) -> bool:
    return bool(values.size and (values == values[0]).all())


def _written(values: NDArray[Any]) -> Column:
    if not values.size:
        return np.empty(0, dtype="S1")
    if _is_one_value(values):
        return np.full(values.size, orjson.dumps(values[0].item()))
    listed = orjson.dumps(np.ascontiguousarray(values), option=orjson.OPT_SERIALIZE_NUMPY)
    return np.array(listed[1:-1].split(b","))
