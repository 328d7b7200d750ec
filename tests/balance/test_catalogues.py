"""A catalogue's file is read by the type of its rows, and a slip in it is named by file, line and column."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

import pytest

from balance.catalogues import FaultyCatalogue, read_rows


@dataclass(frozen=True)
class Spacing:
    """A row of an invented catalogue."""

    code: str
    version: int
    low: float | None
    exact: Decimal | None
    printed: bool
    source: str
    source_mark: str
    note: str


HEAD = "code,version,low,exact,printed,source,source_mark,note\n"


def read(folder: Path, text: str) -> tuple[Spacing, ...]:
    (folder / "spacing.csv").write_text(text, encoding="utf-8")
    return read_rows("spacing", Spacing, folder)


def test_each_cell_has_the_type_of_its_column_and_an_empty_one_is_nothing(tmp_path):
    rows = read(tmp_path, HEAD + 'a,1,4.5,0.10,yes,"A page, read",READ,\nb,2,,,no,Another,READ*,open\n')
    assert rows == (
        Spacing("a", 1, 4.5, Decimal("0.10"), True, "A page, read", "READ", ""),
        Spacing("b", 2, None, None, False, "Another", "READ*", "open"),
    )


def test_a_file_is_read_once(tmp_path):
    first = read(tmp_path, HEAD + "a,1,,,yes,A page,READ,\n")
    assert read(tmp_path, HEAD) is first


@pytest.mark.parametrize(
    ("text", "said"),
    [("code,version\na,1\n", "other columns than Spacing: exact, low"),
     (HEAD + "a,one,,,yes,A page,READ,\n", "spacing.csv, line 2, version: 'one' is no int"),
     (HEAD + "a,,,,yes,A page,READ,\n", "line 2, version: '' is no int"),
     (HEAD + "a,1,,x,yes,A page,READ,\n", "line 2, exact: 'x' is no Decimal"),
     (HEAD + "a,1,,,maybe,A page,READ,\n", "line 2, printed: 'maybe' is no bool"),
     (HEAD + "a,1,,,yes,,READ,\n", "line 2: a row without a source"),
     (HEAD + "a,1,,,yes,A page,SEEN,\n", "line 2: 'SEEN' is none of READ"),
     (HEAD + "a,1,,,yes,A page,READ,,too much\n", "line 2: more or fewer cells"),
     (HEAD + "a,1\n", "line 2: more or fewer cells")],
)  # fmt: skip
def test_a_slip_in_a_file_is_named_by_its_place(text, said, tmp_path):
    with pytest.raises(FaultyCatalogue, match=said):
        read(tmp_path, text)
