"""The PDF says all that the document says, on pages that nothing runs over, for people and machines that read aloud."""

from __future__ import annotations

import copy
import itertools
import re

import pytest

from balance.reports.document import STANDINGS
from balance.reports.forms import as_pdf
from balance.reports.words import STANDING_WORDS, cell, interval_of, range_of, value_of
from tests.balance.reports import told
from tests.balance.reports.drawn import LONG
from tests.balance.reports.leaves import Leaves, squashed


@pytest.fixture(scope="module")
def document():
    return told.document(told.charts())


@pytest.fixture(scope="module")
def leaves(document):
    return Leaves(as_pdf.render(document))


def figures_of(document):
    for line in document["summary"]:
        yield from line["figures"]
    for page in document["blocks"]:
        for section in page["sections"]:
            yield from section["figures"]


def tables_of(document):
    return [table for page in document["blocks"] for section in page["sections"] for table in section["tables"]]


def many_blocks(document, count, rows):
    """Give the document with so many blocks of long names, and so many rows in each of their tables."""
    grown = copy.deepcopy(document)
    line, page = grown["summary"][0], grown["blocks"][0]
    for table in page["sections"][0]["tables"]:
        table["rows"] = (table["rows"] * rows)[:rows]
    grown["summary"] = [
        {**line, "block": f"n{number}", "name": f"{LONG} {number}", "standing": STANDINGS[number % 4]}
        for number in range(count)
    ]
    grown["blocks"] = [{**page, "block": f"n{number}", "name": f"{LONG} {number}"} for number in range(count)]
    return grown


def test_every_name_figure_and_cell_of_the_document_is_in_the_pages(document, leaves):
    for page in document["blocks"]:
        assert leaves.says(page["name"])
        for section in page["sections"]:
            for said in (section["title"], section["reason"], *section["sentences"]):
                assert leaves.says(said)
    for figure in figures_of(document):
        for said in (figure["title"], value_of(figure), interval_of(figure), range_of(figure), figure["reason"]):
            assert leaves.says(said), said
    for table in tables_of(document):
        for row in table["rows"]:
            for value, column in zip(row, table["columns"], strict=True):
                assert leaves.says(cell(value, column))


def test_the_first_page_is_the_summary(document, leaves):
    first = squashed(leaves.texts[0])
    for line in document["summary"]:
        for said in (line["name"], line["why"], *line["changed"], *line["next_winter"], line["confidence_why"]):
            assert squashed(said) in first
    for standing in STANDINGS:
        assert re.search(rf"1{squashed(STANDING_WORDS[standing])}", first)
    assert squashed(document["cautions"][0]) in first


def test_blocks_that_need_a_look_come_before_those_in_balance(document, leaves):
    first = squashed(leaves.texts[0])
    order = [first.index(squashed(name)) for name in ("Lower Terrace", "Upper Terrace", "West", "Hill")]
    assert first.index("Blocksthatneedalookfirst") < order[0]
    # The farm is called Tern Hill; the block stands after the heading of those in balance.
    assert order[:3] == sorted(order[:3])
    assert squashed("Hill") in first[first.index("Blocksinbalance") :]


def test_the_marks_beside_the_sources_are_explained(leaves):
    assert leaves.says("READ: the figure stood in a text that was read")


def test_what_a_standing_goes_by_is_said_also_for_a_block_without_a_range(leaves):
    assert leaves.says("without one, by their counts against the targets")
    assert leaves.says("Without a crop load or a range it goes by the counts")


def test_sources_cautions_words_and_the_whole_check_code_end_the_report(document, leaves):
    for source in document["sources"]:
        assert leaves.says(f"{source['label']}, version {source['version']}")
        assert leaves.says(source["source"])
    for caution in document["cautions"]:
        assert leaves.says(caution)
    assert leaves.says("Crop load")
    assert leaves.says(document["check_code"])


def test_every_page_says_whose_it_is_from_when_by_which_version_and_which_page_of_how_many(document, leaves):
    feet = leaves.footers()
    for number, foot in enumerate(feet, start=1):
        said = squashed(foot)
        assert said == squashed(
            f"{document['farm_name']}, season 2026 Page {number} of {len(feet)} As recorded at 2026-11-20 15:04 UTC. "
            f"Made by version 1.0.0. Check code {document['check_code'][:16]}"
        )


def test_a_block_begins_on_a_page_of_its_own(document, leaves):
    begins = [
        [squashed(text).startswith(squashed(page["name"])) for text in leaves.texts] for page in document["blocks"]
    ]
    assert [found.count(True) for found in begins] == [1] * len(document["blocks"])


@pytest.mark.parametrize(("blocks", "rows"), [(4, 3), (2, 200)])
def test_nothing_runs_over_a_margin_or_into_the_footer(document, blocks, rows):
    leaves = Leaves(as_pdf.render(many_blocks(document, blocks, rows)))
    assert leaves.strays() == []
    assert leaves.inked_margins() == []


def test_a_farm_of_two_hundred_blocks_with_long_names_keeps_to_its_pages():
    leaves = Leaves(as_pdf.render(many_blocks(told.document(), 200, 2)))
    assert leaves.strays() == []
    for number in range(200):
        assert leaves.says(f"{LONG} {number}")


def test_the_head_of_a_table_is_repeated_on_each_of_its_pages(document):
    leaves = Leaves(as_pdf.render(many_blocks(document, 1, 200)))
    with_rows = [text for text in leaves.texts if squashed("four times what its neighbours weigh") in squashed(text)]
    assert len(with_rows) > 3
    for text in with_rows:
        assert squashed("Change to the year before") in squashed(text)


def test_not_measured_is_a_dash_with_its_meaning_and_zero_a_zero(document, leaves):
    assert leaves.says("Not counted –")
    assert leaves.says("– means not measured; it is not zero.")
    assert leaves.says("0.00")


def test_the_paper_follows_the_units(document):
    assert Leaves(as_pdf.render({**document, "units": "us"})).sizes() == {(612, 792)}
    assert Leaves(as_pdf.render({**document, "units": "metric"})).sizes() == {(595, 842)}


def test_the_same_document_gives_the_same_bytes(document):
    first = as_pdf.render(document)
    as_pdf._compiler.cache_clear()
    assert as_pdf.render(copy.deepcopy(document)) == first


def test_it_says_that_it_keeps_to_pdf_ua_1_and_pdf_a_2a(leaves):
    said = leaves.structure.root_object["/Metadata"].get_object().get_data().decode()
    assert re.search(r"pdfuaid:part>1<", said)
    assert re.search(r"pdfaid:part>2<", said)
    assert re.search(r"pdfaid:conformance>A<", said)
    assert leaves.structure.root_object["/MarkInfo"]["/Marked"]
    assert leaves.structure.root_object["/Lang"] == "en"
    assert leaves.structure.root_object["/ViewerPreferences"]["/DisplayDocTitle"]
    assert leaves.structure.metadata.title == "Season report 2026: Tern Hill Vineyard (invented)"


def test_the_date_of_the_file_is_the_moment_of_the_records(leaves):
    assert leaves.structure.metadata.creation_date.isoformat() == "2026-11-20T15:04:06+00:00"


def test_headings_tables_and_charts_are_tagged(document, leaves):
    elements = leaves.elements()
    kinds = [element["/S"] for element in elements]
    assert kinds.count("/Figure") == sum(
        len(section["charts"]) for page in document["blocks"] for section in page["sections"]
    )
    described = {squashed(element["/Alt"]) for element in elements if element["/S"] == "/Figure"}
    assert described == {squashed(chart.description) for chart in told.charts()}
    assert kinds.count("/TH") > 0
    levels = [int(kind[2:]) for kind in kinds if re.fullmatch(r"/H\d", kind)]
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    assert len([level for level in levels if level == 1]) == len(document["blocks"]) + 2


def test_every_font_is_in_the_file(leaves):
    fonts = [font for page in leaves.structure.pages for font in page["/Resources"]["/Font"].values()]
    assert fonts
    for font in fonts:
        (inner,) = font.get_object()["/DescendantFonts"]
        descriptor = inner.get_object()["/FontDescriptor"].get_object()
        assert {"/FontFile2", "/FontFile3"} & set(descriptor)


def test_a_report_without_blocks_says_so(document):
    leaves = Leaves(as_pdf.render({**document, "summary": [], "blocks": [], "sources": []}))
    assert leaves.says("The farm has no blocks on record.")
