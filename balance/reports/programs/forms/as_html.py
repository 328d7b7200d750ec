"""The report of a program as one page: the same parts, style and policy as a farm's."""

from __future__ import annotations

from typing import Any

from django.template.loader import render_to_string

from balance.reports.forms.as_html import page_style, section_shown
from balance.reports.forms.glossary import MARKS_SAID
from balance.reports.words import UNIT_WORDS, moment_of

Plain = dict[str, Any]


def render(document: Plain) -> bytes:
    """Write the page."""
    style, digest = page_style()
    context = {
        "style": style,
        "policy": f"default-src 'none'; style-src '{digest}'; img-src data:; base-uri 'none'; form-action 'none'",
        "report": document,
        "moment": moment_of(document["taken_at"]),
        "units": UNIT_WORDS[document["units"]],
        "marks": MARKS_SAID,
        "sections": [section_shown(each, f"part-{at}") for at, each in enumerate(document["sections"], start=1)],
    }
    return render_to_string("balance/program_report.html", context).encode()
