"""Whatever people wrote shows as text in the PDF: nothing of it is carried out, fetched or lost without a word."""

from __future__ import annotations

import pytest
import typst

from balance.reports.forms import as_pdf
from balance.reports.forms.letters import FONTS, covered, shown
from tests.balance.reports import told
from tests.balance.reports.leaves import Leaves, squashed

SHOWN = [
    '#eval("1+1")',
    "$x^2$ *b* _i_ `r` @ref <label> ~ \\ / // c /* d */",
    '#image("/etc/passwd") #include "x.typ" #read("/etc/hostname")',
    '"]; #panic()',
    '<b onclick="x()">&amp;</b><script>alert(1)</script>',
    '=HYPERLINK("http://127.0.0.1:9/","y")',
    "http://127.0.0.1:9/x https://example.org file:///etc/passwd",
    "javascript:alert(1) [x](javascript:alert(1))",
    "{{ 7*7 }} {% debug %} ${7*7}",
    "- a",
    "= heading",
    "+ 1. /term: x",
]
ACTIONS = {"/URI", "/JavaScript", "/JS", "/Launch", "/GoToR", "/GoToE", "/SubmitForm", "/ImportData", "/EmbeddedFile",
           "/EmbeddedFiles", "/RichMedia", "/OpenAction", "/AA", "/XFA", "/AcroForm"}  # fmt: skip


def set_with(text):
    return Leaves(as_pdf.render(told.with_text(told.document(told.charts()), text)))


@pytest.mark.parametrize("text", SHOWN)
def test_markup_shows_as_it_was_written_and_nothing_is_carried_out(text):
    leaves = set_with(text)
    assert leaves.text.count(squashed(text)) > 50
    assert not ACTIONS & leaves.names()
    assert leaves.strays() == []
    assert len(leaves.content) < 2_000_000


def test_the_names_that_are_looked_for_would_be_found():
    """The file has links to its own pages, so the search for actions reads what it should."""
    assert {"/Annots", "/Link", "/StructTreeRoot", "/Figure"} <= Leaves(
        as_pdf.render(told.document(told.charts()))
    ).names()


def test_a_word_of_a_million_letters_is_cut_with_a_mark_and_keeps_to_the_margins():
    leaves = set_with("W" * 1_000_000)
    assert leaves.says("WWWW… (cut: 998,000 more letters)")
    assert leaves.strays() == []
    assert leaves.inked_margins() == []
    assert len(leaves.content) < 2_000_000


@pytest.mark.parametrize(
    "text", ["W" * 400, "i" * 400, "long words like Niederschlagsmessungen and " * 12, "a-b/c_d." * 40]
)
def test_words_that_are_wider_than_their_column_are_broken(text):
    leaves = set_with(text)
    assert leaves.strays() == []
    assert leaves.inked_margins() == []


@pytest.mark.parametrize("text", ["מגרש תחתון 12", "الكرم القديم 7"])
def test_text_from_right_to_left_is_set(text):
    leaves = set_with(text)
    for word in text.split():
        assert word in leaves.text or word[::-1] in leaves.text
    assert "U+" not in leaves.text
    assert leaves.strays() == []


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("\u202etxet", "‹U+202E›txet"),
        ("漢x", "‹U+6F22›x"),
        ("\U0001f347", "‹U+1F347›"),
        ("a\x00b", "a‹U+0000›b"),
        ("\ue000", "‹U+E000›"),
    ],
)
def test_a_letter_that_no_font_has_and_a_control_stand_as_their_code(text, code):
    leaves = set_with(text)
    assert leaves.text.count(code) > 50
    assert b"pdfuaid" in leaves.structure.root_object["/Metadata"].get_object().get_data()


def test_a_mark_that_no_font_combines_with_its_letter_stands_as_its_code_too():
    leaves = set_with("я\u0487y")
    assert leaves.says("я‹U+0487›y")
    assert b"pdfuaid" in leaves.structure.root_object["/Metadata"].get_object().get_data()


def test_a_report_is_set_without_the_seal_rather_than_not_at_all(monkeypatch):
    """Should the list of letters be wrong, the report is made, and claims nothing."""
    monkeypatch.setattr("balance.reports.forms.letters.covered", lambda: covered() | {ord("漢")})
    made = as_pdf.render(told.with_text(told.document(), "漢"))
    assert made.startswith(b"%PDF")
    assert b"pdfuaid" not in made


def test_the_fonts_have_every_letter_that_they_are_said_to_have():
    """Each code point is set by typst itself under PDF/UA-1, which refuses a letter without a glyph."""
    letters = [chr(code) for code in sorted(covered())]
    assert len(letters) > 4000
    page = '#set document(title: "x")\n#set text(font: "Source Sans Pro", lang: "en")\n' + "\n\n".join(
        f"#{{{_string('a' + letter)}}}" for letter in letters
    )
    made = typst.compile(page.encode(), font_paths=[str(FONTS)], ignore_system_fonts=True, pdf_standards=["ua-1"])  # type: ignore[misc]
    assert made.startswith(b"%PDF")


def _string(said):
    return '"' + said.replace("\\", "\\\\").replace('"', '\\"') + '"'


def test_a_lone_surrogate_is_shown_as_its_code():
    assert shown("a\ud800b") == "a‹U+D800›b"
