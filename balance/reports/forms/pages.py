"""What stands on the pages of the PDF, all of it in words: the template sets it and decides nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from balance.reports.charts import svg_of
from balance.reports.document import IN_BALANCE, NOT_KNOWN, OVER, STANDINGS, UNDER
from balance.reports.forms.chart_labels import parted
from balance.reports.forms.columns import MANY_COLUMNS, rooms_of
from balance.reports.forms.glossary import GLOSSARY
from balance.reports.forms.letters import footing, shown
from balance.reports.models import UnitSystem
from balance.reports.words import (
    CONFIDENCE_WORDS,
    STANDING_WORDS,
    UNIT_WORDS,
    VERDICT_WORDS,
    cell,
    headed,
    interval_of,
    moment_of,
    range_of,
    value_of,
)

Plain = dict[str, Any]
SIGNS: Final = {OVER: "▲", UNDER: "▼", IN_BALANCE: "■", NOT_KNOWN: "?"}
_VERDICT_SIGNS: Final = {"below": "▼", "within": "■", "above": "▲"}
_LOOK_FIRST: Final = (OVER, UNDER, NOT_KNOWN)
#: So many letters of a name are shown where there is little room.
_SHORT: Final = 60
_NAME: Final = 160
#: Lines from which on a row may be broken between pages; a shorter one goes to the next page whole.
_TALL_LINES: Final = 15
#: A table of so few rows is not parted between pages.
_WHOLE_ROWS: Final = 10
#: A column of values with no longer one is as wide as it likes.
_NARROW_VALUE: Final = 24
#: A code that people compare by eye; the whole stands in the JSON.
_CODE_LETTERS: Final = 16


@dataclass(frozen=True)
class _Letters:
    """How words are set; ``strict`` where combining marks are written as codes."""

    strict: bool

    def words(self, said: str, most: int = 2000, word: int = 30) -> str:
        return shown(said, most=most, word=word, strict=self.strict)

    def all(self, said: Iterable[str], most: int = 600, word: int = 18) -> list[str]:
        return [self.words(one, most, word) for one in said]


def pages_of(document: Plain, *, strict: bool = False) -> Plain:
    """Give everything that is set, in its order."""
    letters = _Letters(strict)
    farm = letters.words(document["farm_name"], _NAME, 24)
    taken_at = datetime.fromisoformat(document["taken_at"]).astimezone(UTC)
    places = {page["block"]: f"block-{number}" for number, page in enumerate(document["blocks"])}
    lines = [_line(line, places, letters) for line in document["summary"]]
    return {
        "title": f"Season report {document['season']}: {letters.words(document['farm_name'], _SHORT, 24)}",
        "paper": "us-letter" if document["units"] == UnitSystem.US else "a4",
        "date": [taken_at.year, taken_at.month, taken_at.day, taken_at.hour, taken_at.minute, taken_at.second],
        "farm": farm,
        "foot": footing(farm, 56, f", season {document['season']}"),
        "region": letters.words(document["region"], _NAME),
        "season": str(document["season"]),
        "moment": moment_of(document["taken_at"]),
        "units": UNIT_WORDS[document["units"]],
        "version": footing(letters.words(document["made_by"], _SHORT), 16),
        "code": document["check_code"][:_CODE_LETTERS],
        "whole_code": letters.words(document["check_code"], _NAME, 32),
        "tally": _tally(document),
        "look_first": sorted(
            (line for line in lines if line["standing"] in _LOOK_FIRST),
            key=lambda line: _LOOK_FIRST.index(line["standing"]),
        ),
        "in_balance": [line for line in lines if line["standing"] == IN_BALANCE],
        "blocks": [_block(page, f"block-{number}", letters) for number, page in enumerate(document["blocks"])],
        "sources": [_source(source, letters) for source in document["sources"]],
        "cautions": letters.all(document["cautions"], 2000, 30),
        "glossary": [list(entry) for entry in GLOSSARY],
    }


def _tally(document: Plain) -> list[Plain]:
    counts = Counter(line["standing"] for line in document["summary"])
    return [
        {"standing": each, "sign": SIGNS[each], "word": STANDING_WORDS[each], "count": str(counts[each])}
        for each in STANDINGS
    ]


def _line(line: Plain, places: dict[str, str], letters: _Letters) -> Plain:
    said = [line["name"], line["why"], *line["changed"], *line["next_winter"], line["confidence_why"]]
    return {
        "tall": sum(map(len, said)) > _TALL_LINES * 40,
        "place": places.get(line["block"], ""),
        "name": letters.words(line["name"], _NAME, 13),
        "cultivar": letters.words(line["cultivar"], _NAME, 15),
        "standing": line["standing"],
        "sign": SIGNS[line["standing"]],
        "word": STANDING_WORDS[line["standing"]],
        "why": letters.words(line["why"], 600, 18),
        "figures": [_short_figure(figure, letters) for figure in line["figures"] if figure["value"] is not None],
        "without": _without_number(line["figures"], letters),
        "changed": letters.all(line["changed"]),
        "next_winter": letters.all(line["next_winter"]),
        "confidence": CONFIDENCE_WORDS[line["confidence"]],
        "confidence_why": letters.words(line["confidence_why"], 400, 14),
    }


def _short_figure(figure: Plain, letters: _Letters) -> str:
    """Write a figure that has a number in one line."""
    counted = "" if figure["n"] is None else f", n\u00a0=\u00a0{figure['n']:,}"
    return f"{letters.words(figure['title'], _NAME, 18)}: {letters.words(value_of(figure), _NAME, 18)}{counted}"


def _without_number(figures: Sequence[Plain], letters: _Letters) -> str:
    """Name the figures that have no number; why stands on the block's page."""
    names = [figure["title"] for figure in figures if figure["value"] is None]
    return letters.words(f"No number (see the block): {'; '.join(names)}", 400, 18) if names else ""


def _block(page: Plain, place: str, letters: _Letters) -> Plain:
    told = (("Cultivar", page["cultivar"]), ("Rootstock", page["rootstock"]), ("Training", page["training"]))
    facts = [f"{name}: {letters.words(said, _NAME)}" for name, said in told if said]
    return {
        "place": place,
        "name": letters.words(page["name"], _NAME, 24),
        "facts": [*facts, f"{page['vines']:,} {'vine' if page['vines'] == 1 else 'vines'} standing"],
        "sections": [_section(section, letters) for section in page["sections"]],
    }


def _section(section: Plain, letters: _Letters) -> Plain:
    return {
        "title": letters.words(section["title"], _NAME),
        "reason": letters.words(section["reason"]),
        "sentences": letters.all(section["sentences"], 2000, 30),
        "figures": _figures(section["figures"], letters),
        "tables": [_table(table, letters) for table in section["tables"]],
        "charts": [_chart(chart, letters) for chart in section["charts"]],
    }


def _figures(figures: Sequence[Plain], letters: _Letters) -> Plain:
    """Write figures as a table that has only those columns in which something stands."""
    rows = [_figure(figure, letters) for figure in figures]
    return {
        "rows": rows,
        "ranged": any(row["range"] or row["verdict"] for row in rows),
        "told": any(row["interval"] or row["reason"] for row in rows),
        "narrow": all(len(row["value"]) <= _NARROW_VALUE for row in rows),
        "whole": len(rows) <= _WHOLE_ROWS and not any(row["tall"] for row in rows),
    }


def _figure(figure: Plain, letters: _Letters) -> Plain:
    known = figure["value"] is not None
    ends = range_of(figure)
    return {
        "tall": max(len(figure[name]) for name in ("title", "reason", "range_source", "interval", "unit"))
        > _TALL_LINES * 14,
        "title": letters.words(figure["title"], _NAME, 18),
        "value": letters.words(value_of(figure), _NAME, 11) if known else "–",
        "n": "" if figure["n"] is None else f"{figure['n']:,}",
        "interval": letters.words(interval_of(figure), _NAME, 14),
        "range": letters.words(ends, _NAME, 14),
        "source": letters.words(figure["range_source"], 300, 18) if ends else "",
        "verdict": VERDICT_WORDS.get(figure["verdict"], ""),
        "verdict_sign": _VERDICT_SIGNS.get(figure["verdict"], ""),
        "reason": "" if known else letters.words(figure["reason"], 600, 18),
    }


def _table(table: Plain, letters: _Letters) -> Plain:
    columns: Sequence[Plain] = table["columns"]
    cells = [[cell(value, column) for value, column in zip(row, columns, strict=True)] for row in table["rows"]]
    rooms = rooms_of([headed(column) for column in columns], cells)
    return {
        "title": letters.words(table["title"], _NAME),
        "dense": len(columns) > MANY_COLUMNS,
        "headings": [_heading(column, room, letters) for column, room in zip(columns, rooms, strict=True)],
        "rows": [_row(row, rooms, letters) for row in cells],
        "gaps": any(value is None for row in table["rows"] for value in row),
        "whole": len(cells) <= _WHOLE_ROWS and not any(len(said) > 120 for row in cells for said in row),
        "note": letters.words(table["note"], 1000),
    }


def _heading(column: Plain, room: int, letters: _Letters) -> Plain:
    """Write the heading of a column, its unit apart."""
    unit = f"[{column['unit']}]" if column["unit"] else ""
    return {
        "text": letters.words(column["title"], _NAME, room),
        "unit": letters.words(unit, _SHORT, room),
        "number": column["number"],
    }


def _row(row: Sequence[str], rooms: Sequence[int], letters: _Letters) -> Plain:
    cells = [letters.words(said, 400, room) for said, room in zip(row, rooms, strict=True)]
    tall = any(len(said) > _TALL_LINES * room for said, room in zip(cells, rooms, strict=True))
    return {"cells": cells, "tall": tall}


def _chart(chart: Plain, letters: _Letters) -> Plain:
    return {**parted(svg_of(chart["spec"])), "alt": letters.words(chart["description"], 3000)}


def _source(source: Plain, letters: _Letters) -> list[str]:
    return [
        letters.words(source["used_for"], _NAME, 16),
        letters.words(f"{source['label']}, version {source['version']}", _NAME, 18),
        letters.words(source["source"], 600, 24),
        letters.words(source["mark"], _NAME, 16),
    ]
