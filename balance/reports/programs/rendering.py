"""Which form of a program's report is rendered by what; how each is served is as for a farm's."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final

from balance.reports.forms import as_json
from balance.reports.models import Form
from balance.reports.programs.forms import as_html, as_pdf, tables
from balance.reports.rendering import FORMS as OF_FARMS
from balance.reports.rendering import Rendered

_RENDER: Final[dict[str, Callable[[dict[str, Any]], bytes]]] = {
    Form.HTML: as_html.render,
    Form.PDF: as_pdf.render,
    Form.JSON: as_json.render,
    Form.CSV: tables.csv_of,
    Form.XLSX: tables.xlsx_of,
}
FORMS: Final[dict[str, Rendered]] = {
    form: replace(OF_FARMS[form], render=render) for form, render in _RENDER.items() if form in OF_FARMS
}
