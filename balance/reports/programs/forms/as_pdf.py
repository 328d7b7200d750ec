"""The report of a program as a PDF: set like a farm's, without a summary of blocks."""

from __future__ import annotations

from typing import Any, Final

from balance.reports.forms import as_pdf
from balance.reports.forms.glossary import GLOSSARY
from balance.reports.forms.pages import pages_of
from balance.reports.programs.forms.as_one_page import as_one_page

Plain = dict[str, Any]
#: Words of the glossary that the report of a program does not use.
_NOT_USED: Final = {"Over, under, in balance", "n", "Assigned range", "Not measured (–)", "Confidence"}


def render(document: Plain) -> bytes:
    """Set the document."""
    return as_pdf.render(document, _pages)


def _pages(document: Plain, *, strict: bool = False) -> Plain:
    pages = pages_of(as_one_page(document), strict=strict)
    facts = [f"Season report {pages['season']} of a program", *([pages["region"]] if pages["region"] else [])]
    facts += [f"From the records as they were at {pages['moment']}", pages["units"]]
    page = {**pages["blocks"][0], "name": pages["farm"], "facts": facts}
    glossary = [list(entry) for entry in GLOSSARY if entry[0] not in _NOT_USED]
    told = {name: said for name, said in pages.items() if name not in {"tally", "look_first", "in_balance"}}
    return {**told, "blocks": [page], "glossary": glossary}
