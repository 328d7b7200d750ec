"""Which form is rendered by what, and how it is served."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from balance.reports.forms import as_csv, as_html, as_json, as_pdf, as_xlsx
from balance.reports.models import Form

XLSX: Final = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@dataclass(frozen=True)
class Rendered:
    """How one form is made and served."""

    media_type: str
    suffix: str
    #: The first characters of every file, for the documentation.
    begins: str
    render: Callable[[dict[str, Any]], bytes]


FORMS: Final[dict[str, Rendered]] = {
    Form.HTML: Rendered("text/html", "html", "<!doctype html>", as_html.render),
    Form.PDF: Rendered("application/pdf", "pdf", "%PDF-1.7", as_pdf.render),
    Form.JSON: Rendered("application/json", "json", "{", as_json.render),
    Form.CSV: Rendered("application/zip", "zip", "PK", as_csv.render),
    Form.XLSX: Rendered(XLSX, "xlsx", "PK", as_xlsx.render),
}
