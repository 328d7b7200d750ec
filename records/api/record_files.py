"""A list of records as a file: one page of it, larger than in JSON, and where the next one is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

from django.http import HttpResponse
from drf_spectacular.utils import OpenApiExample

from records.access import OpenFarm
from records.api.forms import CSV, XLSX, XlsxRenderer, attachment
from records.files.columns import MORE_ROW
from records.files.taking_out import headings_of, lines_of
from records.files.writing import Cell, as_csv, as_xlsx
from records.kinds import Kind
from records.models.recorded import Recorded

MOST_IN_A_FILE: Final = 5_000
SAYS: Final = (
    f"As CSV or XLSX, a file of at most {MOST_IN_A_FILE:,} records with vines by row and place, quantities as sent and "
    "in the canonical unit; where there are more, its last line and the header Link name the address of the next "
    "file. It can be changed and sent back to `…/imports`. A text that a spreadsheet would take for a formula begins "
    "with an apostrophe in CSV, which is taken away when it is read back; numbers are left as they are."
)
FILE_EXAMPLES: Final = [
    OpenApiExample("As CSV", value='"block","row","vine","observed_at"', response_only=True, media_type=CSV),
    OpenApiExample("As XLSX, its first bytes", value="PK\u0003\u0004", response_only=True, media_type=XLSX),
]


def record_file(opened: OpenFarm, kind: Kind, records: Sequence[Recorded], form: str, paged: Any) -> HttpResponse:
    """Answer with records as a file; ``paged`` is the answer of the paginator, which knows what comes next."""
    lines = _and_more(lines_of(opened, kind, records), paged.data["next"])
    name = f"{kind.path}.{form}"
    if form == XlsxRenderer.format:
        answer = attachment(as_xlsx(kind.plural.replace("_", " "), headings_of(kind), lines), XLSX, name)
    else:
        answer = attachment(as_csv(headings_of(kind), lines), CSV, name)
    if link := paged.headers.get("Link"):
        answer["Link"] = link
    return answer


def _and_more(lines: Iterator[list[Cell]], following: str | None) -> Iterator[list[Cell]]:
    yield from lines
    if following:
        yield [f"{MORE_ROW}: {following}"]
