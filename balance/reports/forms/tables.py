"""What a report says as tables, for CSV and workbooks: one line a block, a figure, a sentence, and each table whole.

A table that several blocks have stands once, with the block in its first column.  Numbers are not rounded.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any, Final

from balance.reports.words import CONFIDENCE_WORDS, STANDING_WORDS, VERDICT_WORDS, headed

Cell = str | int | float | None
Plain = dict[str, Any]
SUMMARY: Final = "summary"
_NO_NAME: Final = re.compile(r"[^a-z0-9]+")
_LONGEST_NAME: Final = 60


@dataclass(frozen=True)
class Heading:
    """One column: its heading with the unit, and how many decimals a number of it shows."""

    title: str
    digits: int | None = None


@dataclass
class Sheet:
    """One table: a name for its file, a title, and lines as long as its headings."""

    name: str
    title: str
    headings: list[Heading]
    lines: list[list[Cell]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def sheets_of(document: Plain) -> list[Sheet]:
    """Give everything as tables, the summary first; no two have the same name."""
    found = [_summary(document), _figures(document), _sentences(document), *_tables(document), _sources(document)]
    taken: set[str] = set()
    for sheet in found:
        sheet.name = _free(_plain_name(sheet.name), taken)
    return found


def _summary(document: Plain) -> Sheet:
    """Give a line a block; a figure of the summary is a column, named with its unit."""
    lines = document["summary"]
    figures = {_key(figure): figure for line in lines for figure in line["figures"]}
    texts = ("Block", "Cultivar", "Standing", "Why", "What changed", "What to do next winter", "Confidence",
             "Why this confidence", "Block id")  # fmt: skip
    numbers = [Heading(headed(figure), figure["digits"]) for figure in figures.values()]
    sheet = Sheet(SUMMARY, "Summary", [*map(Heading, texts[:4]), *numbers, *map(Heading, texts[4:])])
    for line in lines:
        known = {_key(figure): figure["value"] for figure in line["figures"]}
        sheet.lines.append([
            line["name"], line["cultivar"], STANDING_WORDS.get(line["standing"], line["standing"]), line["why"],
            *(known.get(key) for key in figures),
            "\n".join(line["changed"]), "\n".join(line["next_winter"]),
            CONFIDENCE_WORDS.get(line["confidence"], line["confidence"]), line["confidence_why"], line["block"],
        ])  # fmt: skip
    return sheet


def _key(figure: Plain) -> tuple[str, str, str]:
    return figure["code"], figure["title"], figure["unit"]


_FIGURE: Final = ("value", "unit", "n", "interval", "low", "high", "range_low", "range_high", "range_source")
_FIGURE_HEADINGS: Final = ("Block", "Section", "Figure", "Value", "Unit", "n", "Interval", "Lower end", "Upper end",
                           "Range from", "Range to", "Source of the range", "Verdict", "Why there is no number",
                           "Code")  # fmt: skip


def _figures(document: Plain) -> Sheet:
    sheet = Sheet("figures", "All figures", [Heading(title) for title in _FIGURE_HEADINGS])
    for block, section, figure in _each_figure(document):
        verdict = VERDICT_WORDS.get(figure["verdict"], figure["verdict"])
        shown = [figure[name] for name in _FIGURE]
        sheet.lines.append([block, section, figure["title"], *shown, verdict, figure["reason"], figure["code"]])
    return sheet


def _each_figure(document: Plain) -> Iterator[tuple[str, str, Plain]]:
    for line in document["summary"]:
        yield from ((line["name"], "Summary", figure) for figure in line["figures"])
    for page, section in _each_section(document):
        yield from ((page["name"], section["title"], figure) for figure in section["figures"])


def _each_section(document: Plain) -> Iterator[tuple[Plain, Plain]]:
    return ((page, section) for page in document["blocks"] for section in page["sections"])


def _sentences(document: Plain) -> Sheet:
    """Give what is said in words, and where a section is empty, why."""
    sheet = Sheet("sentences", "What is said in words", [Heading("Block"), Heading("Section"), Heading("Sentence")])
    for page, section in _each_section(document):
        said = [*section["sentences"], *([section["reason"]] if section["reason"] else [])]
        sheet.lines += [[page["name"], section["title"], sentence] for sentence in said]
    return sheet


def _tables(document: Plain) -> Iterator[Sheet]:
    """Give each table of the blocks' pages with all blocks in it, in the order in which they first appear."""
    gathered: dict[str, list[tuple[str, Plain]]] = {}
    for page, section in _each_section(document):
        for table in section["tables"]:
            gathered.setdefault(table["code"], []).append((page["name"], table))
    for code, tables in gathered.items():
        yield _joined(code, tables)


def _joined(code: str, tables: list[tuple[str, Plain]]) -> Sheet:
    columns = {_column_key(column): column for _, table in tables for column in table["columns"]}
    headings = [Heading(headed(column), column["digits"] if column["number"] else None) for column in columns.values()]
    sheet = Sheet(code, tables[0][1]["title"], [Heading("Block"), *headings])
    for block, table in tables:
        keys = [_column_key(column) for column in table["columns"]]
        for row in table["rows"]:
            said = dict(zip(keys, row, strict=True))
            sheet.lines.append([block, *(said.get(key) for key in columns)])
    sheet.notes = list(dict.fromkeys(table["note"] for _, table in tables if table["note"]))
    return sheet


def _column_key(column: Plain) -> tuple[str, str]:
    return column["code"], column["unit"]


def _sources(document: Plain) -> Sheet:
    sheet = Sheet("sources", "Sources", [Heading(title) for title in ("Used for", "Method", "Version", "Source",
                                                                      "How well it is known", "Code")])  # fmt: skip
    for source in document["sources"]:
        sheet.lines.append([source[name] for name in ("used_for", "label", "version", "source", "mark", "code")])
    return sheet


def _plain_name(text: str) -> str:
    """Give a name that every file system takes, whatever the text holds."""
    return _NO_NAME.sub("_", text.lower()).strip("_")[:_LONGEST_NAME] or "table"


def _free(name: str, taken: set[str]) -> str:
    """Give the name, with a number where it is taken already."""
    found = next(each for each in _numbered(name) if each not in taken)
    taken.add(found)
    return found


def _numbered(name: str) -> Iterable[str]:
    yield name
    number = 1
    while True:
        number += 1
        yield f"{name}_{number}"
