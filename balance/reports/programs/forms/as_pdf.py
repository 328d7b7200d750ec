"""The report of a program as a PDF: set like a farm's, without a summary of blocks."""

from __future__ import annotations

from typing import Any, Final

from balance.reports.forms import as_pdf
from balance.reports.forms.glossary import GLOSSARY
from balance.reports.forms.pages import pages_of
from balance.reports.programs.forms.as_one_page import as_one_page
from balance.reports.programs.privacy import NOT_SHOWN
from balance.reports.words import value_of

Plain = dict[str, Any]
#: Words of the glossary that the report of a program does not use.
_NOT_USED: Final = {"Over, under, in balance", "n", "Assigned range", "Not measured (–)", "Confidence"}


def render(document: Plain) -> bytes:
    """Set the document."""
    return as_pdf.render(document, _pages)


def _pages(document: Plain, *, strict: bool = False) -> Plain:
    whole = as_one_page(document)
    sections = [_with_short_figures(section) for section in document["sections"]]
    pages = pages_of({**whole, "blocks": [{**whole["blocks"][0], "sections": sections}]}, strict=strict)
    facts = [f"Season report {pages['season']} of a program", *([pages["region"]] if pages["region"] else [])]
    facts += [f"From the records as they were at {pages['moment']}", pages["units"]]
    page = {**pages["blocks"][0], "name": pages["farm"], "facts": facts}
    glossary = [list(entry) for entry in GLOSSARY if entry[0] not in _NOT_USED]
    told = {name: said for name, said in pages.items() if name not in {"tally", "look_first", "in_balance"}}
    return {**told, "blocks": [page], "glossary": glossary}


def _with_short_figures(section: Plain) -> Plain:
    """Give a section with its figures as a small table: none of them has an interval or a range."""
    if not section["figures"]:
        return section
    rows = [[figure["title"], value_of(figure) or NOT_SHOWN] for figure in section["figures"]]
    why = " ".join(dict.fromkeys(figure["reason"] for figure in section["figures"] if figure["reason"]))
    columns = [
        {"code": "figure", "title": "Figure", "unit": "", "number": False, "digits": 0},
        {"code": "value", "title": "Value", "unit": "", "number": True, "digits": 0},
    ]
    table = {"code": "figures", "title": "All growers together", "columns": columns, "rows": rows, "note": why}
    return {**section, "figures": [], "tables": [table, *section["tables"]]}
