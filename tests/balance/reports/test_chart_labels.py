"""The words of a chart are taken out of its drawing for the PDF: all of them, where they stood, and nothing else."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from balance.reports.charts import svg_of
from balance.reports.forms import as_pdf
from balance.reports.forms.chart_labels import parted
from tests.balance.reports import told
from tests.balance.reports.leaves import Leaves

_TEXT = "{http://www.w3.org/2000/svg}text"
DRAWINGS = [svg_of(chart.spec) for chart in told.charts()]


def words_of(svg):
    """Give what every text of a drawing says, where its baseline begins, has its middle or ends, read as XML."""
    found = []

    def walk(node, left, top):
        moved = re.fullmatch(r"translate\(([-\d.]+) ([-\d.]+)\)", node.get("transform", ""))
        if moved:
            left, top = left + float(moved[1]), top + float(moved[2])
        if node.tag == _TEXT and "transform" not in node.attrib:
            anchor = ("start", "middle", "end").index(node.get("text-anchor", "start"))
            x, y = left + float(node.get("x")), top + float(node.get("y"))
            bold = node.get("font-weight") == "bold"
            found.append([round(x, 1), round(y, 1), float(node.get("font-size", 11)), anchor, bold, node.text])
        for child in node:
            walk(child, left, top)

    walk(ElementTree.fromstring(svg), 0.0, 0.0)
    return found


@pytest.mark.parametrize("svg", DRAWINGS)
def test_every_word_that_is_not_turned_is_taken_with_its_place(svg):
    apart = parted(svg)
    assert apart["labels"] == words_of(svg)
    assert words_of(apart["svg"]) == []


@pytest.mark.parametrize("svg", DRAWINGS)
def test_the_drawing_keeps_everything_else(svg):
    kept, whole = ([node.tag for node in ElementTree.fromstring(one).iter()] for one in (parted(svg)["svg"], svg))
    assert [tag for tag in kept if tag != _TEXT] == [tag for tag in whole if tag != _TEXT]
    assert kept.count(_TEXT) == svg.count("rotate(")


def test_words_with_a_letter_that_no_font_has_stay_in_the_drawing():
    (said,) = (one for one in words_of(DRAWINGS[0])[:1])
    svg = DRAWINGS[0].replace(said[-1], "漢字", 2)
    assert "漢字" in parted(svg)["svg"]
    assert len(parted(svg)["labels"]) == len(words_of(DRAWINGS[0])) - 1


def test_a_chart_is_one_figure_of_the_pdf_that_its_words_are_part_of():
    leaves = Leaves(as_pdf.render(told.document(told.charts())))
    figures = [element for element in leaves.elements() if element["/S"] == "/Figure"]
    assert figures
    for figure in figures:
        # Marked content of the page, one for the words of each label or more; no element of structure below it.
        assert len(figure["/K"]) > 10
        assert all(isinstance(kid, int) or "/MCID" in kid.get_object() for kid in figure["/K"])


def test_a_report_has_the_same_bytes_whatever_was_set_before_it():
    document = told.document(told.charts())
    first = as_pdf.render(document)
    as_pdf.render({**document, "farm_name": "Another farm (invented)", "units": "us"})
    as_pdf.render(told.document())
    assert as_pdf.render(document) == first
