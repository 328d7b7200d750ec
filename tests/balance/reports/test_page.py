"""The page of a report: everything it says, as text, alone, and the same bytes from the same document."""

from __future__ import annotations

import base64
import hashlib
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from html.parser import HTMLParser
from itertools import pairwise
from typing import Any

import pytest

from balance.reports import words
from balance.reports.forms import as_html
from balance.reports.forms.chart_data import chart_data
from tests.balance.reports import told

#: What somebody could write to have something carried out, fetched, or left out (trust.md G2).
HOSTILE = [
    "=1+1", "<script>alert(1)</script>", "</style><script>1</script>", '"><img src="http://x.example/a.png" onerror="x()">',
    "<svg onload=alert(1)><a xlink:href='javascript:1'>x</a></svg>", "{{ report.farm }}", "{% include 'x' %}", "{# x #}",
    "{{ style|safe }}", "javascript:alert(1)", "url(http://x.example)", "&lt;b&gt; &amp; &#0;", "<!--", "]]>", "'\"`",
    "#let x = 1", "\u202eabc", "\u05d0\u05d1\u05d2 1 lb", "\u0645\u0631\u062d\u0628\u0627", "@import 'http://x.example'",
]  # fmt: skip
#: Where attributes that lead somewhere may lead: to a place on the page, or to a picture inside it.
LEADS = {"href": "#[a-z0-9-]+", "src": "data:image/svg[+]xml;base64,[A-Za-z0-9+/=]+"}
VOID = {"meta", "img", "br", "link"}


class Read(HTMLParser):
    """What a reader of the page gets: text, elements with their attributes, and whether all of them are closed."""

    def __init__(self, content: bytes) -> None:
        super().__init__(convert_charrefs=True)
        self.texts: list[str] = []
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.open: list[str] = []
        self.feed(content.decode())
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self.elements.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.texts.append(data)

    def all(self, *tags: str) -> list[dict[str, str]]:
        return [attributes for tag, attributes in self.elements if tag in tags]

    @property
    def text(self) -> str:
        return "".join(self.texts)

    @property
    def said(self) -> str:
        """The text with one space between words and between what stands in different elements."""
        return " ".join(" ".join(self.texts).split())


def read(document: dict[str, Any] | None = None) -> Read:
    return Read(as_html.render(document or told.document(told.charts())))


def leaves(plain: Any) -> Iterator[str]:
    """Give every text of a document that a person reads."""
    if isinstance(plain, dict):
        skipped = told.NOT_WRITTEN | {"code", "farm", "block", "description"}
        yield from (text for name, said in plain.items() if name not in skipped for text in leaves(said))
    elif isinstance(plain, list):
        yield from (text for said in plain for text in leaves(said))
    elif isinstance(plain, str) and plain:
        yield plain


def test_the_same_document_gives_the_same_bytes():
    assert as_html.render(told.document(told.charts())) == as_html.render(told.document(told.charts()))


def test_everything_that_the_document_says_stands_on_the_page():
    document = told.document(told.charts())
    page = read(document)
    shown = page.text + "".join(each.get("alt", "") for each in page.all("img"))
    assert [text for text in leaves(document) if text not in shown] == []
    assert document["check_code"] in page.text


def test_the_marks_beside_the_sources_are_explained():
    page = read(told.document())
    assert "MEMORY: recalled, not seen." in page.text


def test_a_figure_stands_with_unit_n_interval_range_source_and_verdict_in_words():
    text = read().said
    assert "Crop load 12.3 kg/kg n = 24; 95 % interval: 10.9 to 13.8 kg/kg Above the range : 5.0 to 10.0 kg/kg" in text
    assert "(the farm's own range, set 2026-11-02)" in text
    assert "Change of mean pruning weight \u22120.25 lb" in text


def test_where_there_is_no_number_stands_why():
    assert "Crop load No number. No vine of the block was weighed." in read().said


def test_first_comes_how_many_blocks_stand_where_then_those_that_need_a_look():
    text = read().said
    beginning = text.index("Over 1 block Under 1 block In balance 1 block Not known 1 block")
    looked = text.index("Look at these first Lower Terrace Over")
    assert beginning < looked < text.index("Upper Terrace Under") < text.index("West Not known")


def test_what_was_not_measured_is_said_apart_from_zero():
    text = read().said
    assert "Not counted \u2013 not measured" in text and "2026 4 2 0.00 \u22122.50" in text


def test_every_link_leads_to_a_place_on_the_page_and_every_block_and_section_has_one():
    page = read()
    places = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
    assert len(places) == len(set(places))
    assert {link["href"].removeprefix("#") for link in page.all("a")} <= set(places)
    assert {"block-1", "block-4", "block-1-1", "summary", "sources", "cautions", "top"} <= set(places)


def test_headings_come_in_order_and_headings_of_tables_name_their_columns():
    page = read()
    levels = [int(tag[1]) for tag, _ in page.elements if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    assert all(heading["scope"] == "col" for heading in page.all("th"))
    assert page.all("html")[0]["lang"] == "en"


def test_every_chart_has_a_picture_a_description_and_its_numbers_beside_it():
    page = read()
    pictures = page.all("img")
    assert len(pictures) == len(page.all("details")) == 9
    for picture in pictures:
        assert picture["alt"].startswith("Pruning weights. ")
        svg = base64.b64decode(picture["src"].removeprefix("data:image/svg+xml;base64,"))
        assert ET.fromstring(svg).tag == "{http://www.w3.org/2000/svg}svg"


def test_the_numbers_of_a_chart_are_those_it_was_made_from():
    bars, seasons, parts = (chart_data(chart.spec) for chart in told.charts())
    assert sum(int(line[2]) for line in bars.lines) == 10
    assert bars.headings == ("From: Pruning weight of a vine (lb)", "To", "Vines")
    assert seasons.headings == ("Season", "Crop load (kg/kg)", "Lower end", "Upper end", "n")
    assert seasons.lines[0] == ("2023", "8.25", "7.1", "9.4", "24")
    assert seasons.lines[1] == ("2024", *[words.NOT_MEASURED] * 4)
    assert [line[2] for line in parts.lines] == ["17", "5", "2"]


def test_an_empty_farm_has_a_page():
    document = told.document() | {"summary": [], "blocks": [], "sources": []}
    assert "The farm has no blocks." in read(document).text


def unsafe(page: Read) -> list[Any]:
    """Give whatever on the page could be carried out or leads off it."""
    found: list[Any] = [
        tag for tag, _ in page.elements if tag in {"script", "iframe", "object", "link", "base", "form", "svg"}
    ]
    for tag, attributes in page.elements:
        for name, value in attributes.items():
            if name.startswith("on") or name in {"style", "srcset", "action", "formaction", "background"}:
                found.append((tag, name))
            elif name in LEADS and not re.fullmatch(LEADS[name], value):
                found.append((tag, value))
    return found


@pytest.mark.parametrize("text", HOSTILE)
def test_whatever_somebody_wrote_stands_there_as_text(text):
    document = told.with_text(told.document(), text)
    for page in document["blocks"]:
        page["block"] = text
    found = read(document)
    assert unsafe(found) == []
    assert found.text.count(text) >= 60
    assert len(found.elements) == len(read(told.document()).elements)


@pytest.mark.parametrize("text", HOSTILE)
def test_no_chart_carries_out_or_fetches_what_somebody_wrote(text):
    charts = told.charts(text or "x", text)
    for picture in read(told.document(charts)).all("img"):
        svg = base64.b64decode(picture["src"].removeprefix("data:image/svg+xml;base64,")).decode()
        elements = list(ET.fromstring(svg).iter())
        assert not any(
            each.tag.endswith(("script", "style", "a", "image", "foreignObject", "use")) for each in elements
        )
        assert not any(name.endswith("href") or name.startswith("on") for each in elements for name in each.attrib)


def test_a_word_of_a_million_letters_is_text_like_any_other():
    document = told.document()
    document["blocks"][0]["sections"][0]["sentences"] = ["x" * 1_000_000]
    assert "x" * 1_000_000 in read(document).text


def test_the_page_says_itself_that_only_its_own_style_counts():
    content = as_html.render(told.document())
    page = Read(content)
    style = content.split(b"<style>")[1].split(b"</style>")[0]
    digest = base64.b64encode(hashlib.sha256(style).digest()).decode()
    (policy,) = (each["content"] for each in page.all("meta") if each.get("http-equiv") == "Content-Security-Policy")
    assert policy.startswith("default-src 'none'") and f"style-src 'sha256-{digest}'" in policy
    assert content.index(b"http-equiv") < content.index(b"<style>")
    assert b"url(" not in style and b"@import" not in style


def test_it_is_an_attachment_that_runs_nothing_where_it_is_shown_and_that_no_cache_keeps(desk):
    report = desk.made()
    answer = desk.file(report, "html")
    assert answer.headers["Content-Disposition"] == f'attachment; filename="report-{report["id"]}.html"'
    assert answer.headers["Content-Security-Policy"].startswith(
        "sandbox; default-src 'none'; style-src 'unsafe-inline'"
    )
    assert (answer.headers["X-Content-Type-Options"], answer.headers["Cache-Control"]) == (
        "nosniff",
        "private, no-store",
    )
    assert report["check_code"] in answer.content.decode()
