"""A report is written in one system of units: no figure, table, chart or sentence falls back into the other."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import fields
from typing import Any

import pytest

from balance.reports.forms import as_html
from balance.reports.quantities import Measure, units_of
from tests.balance.reports.season_told import Told, document_of, whole_year
from tests.balance.reports.test_page import Read

#: Units of each system as a word of its own, also such as no measure of ours has.
WORDS = {
    "metric": r"kg|g|mg|t/ha|ha|m|cm|mm|m2|L|g/m|kg/m|kg/kg|kg/ha|kilograms?|grams?|tonnes?|metres?|meters?|hectares?",
    "us": r"lbs?|oz|ft|acres?|lb/ft|lb/lb|oz/ft|pounds?|ounces?|foot|feet|inch(es)?|gallons?|(short )?tons?(/acre)?",
}
OTHER = {"metric": "us", "us": "metric"}
#: A concentration of acid, which the trade in the United States writes in grams and litres too.
ALIKE = re.compile(r"\bg/L\b")


def measures(system: str) -> set[str]:
    units = units_of(system)
    found = (getattr(units, field.name) for field in fields(units))
    return {measure.unit for measure in found if isinstance(measure, Measure)}


def units_in(plain: Any) -> Iterator[str]:
    """Give the unit of every figure and every column of a document, wherever it stands."""
    if isinstance(plain, dict):
        if isinstance(plain.get("unit"), str):
            yield plain["unit"]
        for said in plain.values():
            yield from units_in(said)
    elif isinstance(plain, list):
        for said in plain:
            yield from units_in(said)


def texts_in(plain: Any) -> Iterator[str]:
    if isinstance(plain, dict):
        for name, said in plain.items():
            yield from () if name in {"sources", "$schema"} else texts_in(said)
    elif isinstance(plain, list):
        for said in plain:
            yield from texts_in(said)
    elif isinstance(plain, str):
        yield plain


def of_the_other(text: str, system: str, labels: list[str]) -> list[str]:
    """Give words for units of the other system; the name of a formula may hold the unit that it was published in."""
    for label in labels:
        text = text.replace(label, "")
    return [found[0] for found in re.finditer(rf"(?<![\w/])({WORDS[OTHER[system]]})(?![\w/])", ALIKE.sub("", text))]


@pytest.fixture
def told(desk) -> Any:
    """Two blocks with all that can be recorded of a year, in units of both systems."""
    whole_year(Told.concord(desk, "Tarn Field"))
    heavy = Told.concord(desk, "Heavy")
    heavy.weigh(2027, [2.0, 2.2, 1.9, 2.1, 2.3, 2.0], unit="[lb_av]")
    heavy.weigh(2026, [900, 1100, 950, 1000, 980, 1050], unit="g")
    heavy.pick(2026, 270, unit="kg")
    return desk


@pytest.mark.parametrize("system", ["metric", "us"])
def test_no_figure_table_chart_or_sentence_is_in_the_other_system(told, system):
    document = document_of(told, system)
    labels = [source["label"] for source in document["sources"]]
    used = set(units_in(document))
    assert used & measures(system) and not used & (measures(OTHER[system]) - measures(system))
    assert len(list(texts_in(document))) > 300
    assert [(text, found) for text in texts_in(document) if (found := of_the_other(text, system, labels))] == []


@pytest.mark.parametrize("system", ["metric", "us"])
def test_the_page_is_in_one_system_from_its_heading_to_its_cautions(told, system):
    document = document_of(told, system)
    labels = [source["label"] for source in document["sources"]]
    sources = {source["source"] for source in document["sources"]}
    texts = [text for text in Read(as_html.render(document)).texts if text not in sources and "{" not in text]
    assert [(text, found) for text in texts if (found := of_the_other(text, system, labels))] == []


def test_the_words_would_be_found():
    assert of_the_other("Mean 2.5 lb, 3 short tons/acre", "metric", []) == ["lb", "short tons/acre"]
    assert of_the_other("Mean 1.1 kg of 0.3 kg/m, 4 t/ha and 7 g/L", "us", []) == ["kg", "kg/m", "t/ha"]
    assert of_the_other("30+10 per lb", "metric", ["30+10 per lb"]) == []
