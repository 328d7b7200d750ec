"""Write the sheets of a farm into one ZIP, part by part, so that no memory grows with the farm."""

from __future__ import annotations

import hashlib
import textwrap
import zipfile
from collections.abc import Callable, Iterator
from typing import IO, Final, cast

from records.exporting.cells import line_of
from records.exporting.sheets import Sheet, file_name, sheets
from records.exporting.snapshot import Snapshot

PART_BYTES: Final = 1_000_000
_ROWS_AT_A_TIME: Final = 5_000
Progress = tuple[int, int]


class Parts:
    """Takes bytes and hands them on in parts of one size; counts and digests what passed."""

    def __init__(self, hand_on: Callable[[int, bytes], object]) -> None:
        self._hand_on = hand_on
        self._waiting = bytearray()
        self._digest = hashlib.sha256()
        self._number = 0
        self.size = 0

    def write(self, content: bytes) -> int:
        self._waiting += content
        self._digest.update(content)
        self.size += len(content)
        while len(self._waiting) >= PART_BYTES:
            self._pass(PART_BYTES)
        return len(content)

    def flush(self) -> None:
        """Nothing: a part goes when it is full, the last one at the end."""

    def end(self) -> None:
        if self._waiting:
            self._pass(len(self._waiting))

    @property
    def sha256(self) -> str:
        return self._digest.hexdigest()

    def _pass(self, size: int) -> None:
        self._hand_on(self._number, bytes(self._waiting[:size]))
        del self._waiting[:size]
        self._number += 1


def write_archive(snapshot: Snapshot, parts: Parts) -> Iterator[Progress]:
    """Write everything of the farm; gives how many rows are written, of how many, each counted for both its forms."""
    counted = [(sheet, snapshot.count(sheet)) for sheet in sheets()]
    total, done = 2 * sum(count for _, count in counted), 0
    yield done, total
    target = cast(IO[bytes], parts)  # zipfile needs no more of a file than this
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(_named("README.txt", snapshot), readme(snapshot, counted))
        for sheet, _ in counted:
            for form in (_json_lines, _csv_lines):
                for written in form(archive, snapshot, sheet):
                    done += written
                    yield done, total
            for column in sheet.binary:
                for row_id, content in snapshot.binary(sheet, column):
                    archive.writestr(_named(file_name(sheet.name, row_id, column), snapshot), bytes(content))
                    yield done, total
    parts.end()
    yield total, total


def _json_lines(archive: zipfile.ZipFile, snapshot: Snapshot, sheet: Sheet) -> Iterator[int]:
    lines = (f"{line}\n" for line in snapshot.as_json(sheet))
    return _entry(archive, _named(f"{sheet.name}.ndjson", snapshot), "", lines)


def _csv_lines(archive: zipfile.ZipFile, snapshot: Snapshot, sheet: Sheet) -> Iterator[int]:
    numbers = [column.is_number for column in sheet.columns]
    lines = (line_of(zip(cells, numbers, strict=True)) for cells in snapshot.as_cells(sheet))
    headings = ",".join(column.name for column in sheet.columns) + "\r\n"
    return _entry(archive, _named(f"{sheet.name}.csv", snapshot), headings, lines)


def _named(name: str, snapshot: Snapshot) -> zipfile.ZipInfo:
    """Name a file of the archive, dated as what it holds."""
    entry = zipfile.ZipInfo(name, snapshot.taken_at.timetuple()[:6])
    entry.compress_type = zipfile.ZIP_DEFLATED
    return entry


def _entry(archive: zipfile.ZipFile, name: zipfile.ZipInfo, head: str, lines: Iterator[str]) -> Iterator[int]:
    """Write one file of the archive; gives how many lines, each time some are written."""
    with archive.open(name, "w", force_zip64=True) as entry:
        chunk, count = [head], 0
        for line in lines:
            chunk.append(line)
            count += 1
            if count == _ROWS_AT_A_TIME:
                entry.write("".join(chunk).encode())
                yield count
                chunk, count = [], 0
        entry.write("".join(chunk).encode())
        yield count


def readme(snapshot: Snapshot, counted: list[tuple[Sheet, int]]) -> str:
    """Say what is in the archive, and what each column holds and in which unit."""
    lines = [
        f"Everything of the farm {snapshot.farm_name}",
        f"Id {snapshot.farm_id}",
        f"As it was at {snapshot.taken_at.isoformat()}: one point in time for all tables.",
        "",
        *textwrap.wrap(_FORMS, 100),
    ]
    for sheet, count in counted:
        lines += ["", "", f"{sheet.name} (rows: {count})", *textwrap.wrap(sheet.says, 100), ""]
        width = max(len(column.name) for column in sheet.columns)
        lines += [f"  {column.name:{width}}  {column.meaning}".rstrip() for column in sheet.columns]
    return "\n".join(lines) + "\n"


_FORMS: Final = (
    "Every table comes twice: as .ndjson (one JSON object a line) and as .csv (UTF-8, separated by commas, with a line "
    "of headings). An empty cell is a value that was not given; an empty text stands in quotes. In the .csv a text "
    "that a spreadsheet could take for a formula begins with an apostrophe: take one away and you have the text; the "
    ".ndjson holds texts as they are. Times are in UTC. Columns named …_kg, …_m and so on hold the value converted "
    "exactly; beside them stand value and unit as sent. record_change holds every version that a later one replaced; "
    "withdrawn records are kept with the time of their withdrawal. catalogue/ holds what your rows may point into: "
    "what is everybody's, what your program added and what you added. Files that you sent for import stand in files/ "
    "as sent."
)
