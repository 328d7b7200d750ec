"""Columns that the database hands over packed into one value, so that numpy reads them in place: no object a row."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from django.db import connection
from numpy.typing import NDArray


def one_row(sql: str, arguments: Sequence[Any] | Mapping[str, Any]) -> tuple[Any, ...]:
    """Carry out a query that gives one row."""
    with connection.cursor() as cursor:
        cursor.execute(sql, arguments)
        row: tuple[Any, ...] = cursor.fetchone()
    return row


def packed_ids(packed: bytes | None) -> NDArray[np.uint8]:
    """Read ids, 16 bytes a row."""
    return np.frombuffer(packed or b"", dtype=np.uint8).reshape(-1, 16)


def packed_column(packed: bytes | None, kind: str, wanted: Any = np.float64) -> NDArray[Any]:
    """Read a column of numbers as the database sends them, such as ``>f8`` or ``>i2``."""
    return np.frombuffer(packed or b"", dtype=kind).astype(wanted)


def places_among(wanted: NDArray[np.uint8], among: NDArray[np.uint8]) -> NDArray[np.intp]:
    """Give where each id stands among others; -1 where it does not."""
    if not len(wanted) or not len(among):
        return np.full(len(wanted), -1, dtype=np.intp)
    names, sought = (np.ascontiguousarray(each).view("S16").ravel() for each in (among, wanted))
    order = np.argsort(names)
    found = np.minimum(np.searchsorted(names, sought, sorter=order), len(names) - 1)
    at = order[found]
    return np.where(names[at] == sought, at, -1)
