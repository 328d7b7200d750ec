"""The report as one page for a phone, a screen or paper: it stands alone, loads nothing and runs nothing.

Whatever a person wrote is put in by the template, which escapes it; charts stand in as pictures, in which nothing is
carried out either.  The page says itself that only its own style counts, so also a copy that somebody saved.
"""

from __future__ import annotations

import base64
import hashlib
from collections import Counter
from collections.abc import Iterator
from functools import cache
from typing import Any, Final

from django.template.loader import render_to_string

from balance.reports.document import IN_BALANCE, NOT_KNOWN, OVER, STANDINGS, UNDER
from balance.reports.forms.chart_data import chart_data
from balance.reports.forms.glossary import MARKS_SAID
from balance.reports.words import (
    CONFIDENCE_WORDS,
    NOT_MEASURED,
    STANDING_WORDS,
    UNIT_WORDS,
    VERDICT_WORDS,
    cell,
    headed,
    interval_of,
    moment_of,
    number,
    range_of,
    value_of,
)

Plain = dict[str, Any]
#: Where the page is looked at and not saved (``/board``): no script, no fetch, no form, no frame, an origin of its own.
POLICY: Final = (
    "sandbox; default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)
#: Tables with more columns, or more letters side by side, get a box of their own to scroll in on a narrow page.
_FEW_COLUMNS: Final = 3
_FEW_LETTERS: Final = 26
_LOOK_FIRST: Final = (OVER, UNDER, NOT_KNOWN)


def render(document: Plain) -> bytes:
    """Write the page."""
    style, digest = page_style()
    places = {page["block"]: f"block-{at}" for at, page in enumerate(document["blocks"], start=1)}
    context = {
        "style": style,
        "policy": f"default-src 'none'; style-src '{digest}'; img-src data:; base-uri 'none'; form-action 'none'",
        "report": document,
        "moment": moment_of(document["taken_at"]),
        "units": UNIT_WORDS[document["units"]],
        "tally": _tally(document),
        "look_first": [_line(line, places) for line in _in_need(document)],
        "lines": [_line(line, places) for line in document["summary"]],
        "blocks": [_block(page, f"block-{at}") for at, page in enumerate(document["blocks"], start=1)],
        "lead": document["cautions"][:1],
        "marks": MARKS_SAID,
    }
    return render_to_string("balance/farm_report.html", context).encode()


@cache
def page_style() -> tuple[str, str]:
    """Give the page's style and how a policy names it."""
    style = render_to_string("balance/farm_report.css")
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    return style, f"sha256-{digest}"


def _tally(document: Plain) -> list[Plain]:
    counts = Counter(line["standing"] for line in document["summary"])
    return [{"standing": each, "word": STANDING_WORDS[each], "count": counts[each]} for each in STANDINGS]


def _in_need(document: Plain) -> list[Plain]:
    """Give the blocks that need a look, those first that need it most; where all are in balance, none."""
    lines = [line for line in document["summary"] if line["standing"] != IN_BALANCE]
    return sorted(lines, key=lambda line: _LOOK_FIRST.index(line["standing"]))


def _line(line: Plain, places: dict[str, str]) -> Plain:
    return {
        **line,
        "place": places.get(line["block"], ""),
        "word": STANDING_WORDS[line["standing"]],
        "known": line["standing"] != NOT_KNOWN,
        "confidence_word": CONFIDENCE_WORDS[line["confidence"]],
        "figures": [_figure(figure) for figure in line["figures"]],
    }


def _block(page: Plain, place: str) -> Plain:
    sections = [section_shown(section, f"{place}-{at}") for at, section in enumerate(page["sections"], start=1)]
    return {**page, "place": place, "sections": sections}


def section_shown(section: Plain, place: str) -> Plain:
    """Give a section as the templates show it."""
    return {
        **section,
        "place": place,
        "figures": [_figure(figure) for figure in section["figures"]],
        "tables": [_table(table) for table in section["tables"]],
        "charts": [_chart(chart) for chart in section["charts"]],
    }


def _figure(figure: Plain) -> Plain:
    counted = [] if figure["n"] is None else [f"n = {number(figure['n'])}"]
    return {
        **figure,
        "written": value_of(figure),
        "details": "; ".join(part for part in (*counted, interval_of(figure)) if part),
        "range": range_of(figure),
        "verdict_word": VERDICT_WORDS.get(figure["verdict"], ""),
    }


def _table(table: Plain) -> Plain:
    columns = table["columns"]
    lines = [[_cell(value, column) for value, column in zip(row, columns, strict=True)] for row in table["rows"]]
    headings = [{"text": headed(column), "number": column["number"]} for column in columns]
    return _laid_out(table["title"], headings, lines, table["note"])


def _cell(value: str | float | None, column: Plain) -> Plain:
    return {"text": cell(value, column), "number": column["number"], "missing": value is None}


def _laid_out(title: str, headings: list[Plain], lines: list[list[Plain]], note: str = "") -> Plain:
    return {
        "title": title,
        "headings": headings,
        "lines": lines,
        "note": note,
        "wide": len(headings) > _FEW_COLUMNS or sum(_letters(headings, lines)) > _FEW_LETTERS,
        "gaps": any(each["missing"] for line in lines for each in line),
    }


def _letters(headings: list[Plain], lines: list[list[Plain]]) -> Iterator[int]:
    """Give how many letters each column holds that no line break parts: words of headings, and numbers."""
    for at, heading in enumerate(headings):
        numbers = (len(line[at]["text"]) for line in lines) if heading["number"] else ()
        yield max([0, *map(len, heading["text"].split()), *numbers])


def _chart(chart: Plain) -> Plain:
    data = chart_data(chart["spec"])
    headings = [{"text": text, "number": at >= data.words} for at, text in enumerate(data.headings)]
    lines = [
        [{"text": text, "number": at >= data.words, "missing": text == NOT_MEASURED} for at, text in enumerate(line)]
        for line in data.lines
    ]
    return {**chart, "picture": _picture(chart["spec"]), "table": _laid_out(chart["title"], headings, lines)}


def _picture(spec: Plain) -> str:
    from balance.reports.charts import svg_of  # noqa: PLC0415 - only workers draw

    return f"data:image/svg+xml;base64,{base64.b64encode(svg_of(spec).encode()).decode()}"
