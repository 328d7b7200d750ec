"""The worklist as a page to print: it stands alone, shows every task once and in order, and hostile text as text."""

from __future__ import annotations

import base64
import hashlib
import re
from html.parser import HTMLParser

import pytest
from django.db import connection

from tests.balance.cordons.test_worklist import cases, work

__all__ = ["cases", "work"]
pytestmark = pytest.mark.django_db
HOSTILE = '<script>alert(1)</script> & "x" \''


class Cells(HTMLParser):
    """The text of each row of each table."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.rows: list[list[str]] = []
        self.seen: list[str] = []
        self.headings: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.seen.append(tag)
        if tag == "tr":
            self.rows.append([])
        elif tag in {"td", "th"}:
            self.rows[-1].append("")

    def handle_data(self, data):
        if self.rows and self.rows[-1]:
            self.rows[-1][-1] += data.strip()


def page(work, query="season=2026&part_of_year=winter&as=html", **headers):
    return work.yard.client.get(f"{work.yard.url}/cordon-worklist?{query}", **headers)


def tasks(text: str) -> list[tuple[str, ...]]:
    """Give row, vine and task of each line that has a box to tick."""
    return [tuple(row[1:3] + row[4:5]) for row in Cells(text).rows if len(row) == 8 and row[0] == ""]


def test_every_task_stands_on_the_page_once_and_in_walking_order(work):
    text = page(work).content.decode()
    assert tasks(text) == [
        ("1", "2", "Unwrap"),
        ("1", "2", "Check ties"),
        ("1", "2", "Fewer nodes"),
        ("1", "9", "Lay down"),
    ]
    for words in ("Tern Hill", "Lower Terrace", "harvest 2026", "November 2025 to April 2026", "2 seasons overdue",
                  "Made on", "version", "gloves and eye protection", "Oregon State"):  # fmt: skip
        assert words in text, words
    assert "(READ)" not in text  # a mark of the catalogues, which no pruner knows


def test_it_is_asked_for_by_accept_too_and_by_urgency(work):
    answer = page(work, "season=2026&part_of_year=winter&order=urgency", headers={"Accept": "text/html"})
    assert answer["Content-Type"] == "text/html; charset=utf-8"
    assert tasks(answer.content.decode())[0] == ("1", "9", "Lay down")
    assert '<col class="label block">' in answer.content.decode()  # names of blocks take more room than labels


def test_it_loads_nothing_and_runs_nothing_and_its_policy_allows_its_own_style_alone(work):
    answer = page(work)
    text = answer.content.decode()
    (style,) = re.findall("<style>(.*?)</style>", text, re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert answer["Content-Security-Policy"].split("; ")[:2] == ["default-src 'none'", f"style-src 'sha256-{digest}'"]
    assert not {"script", "link", "img", "iframe", "form", "a"} & set(Cells(text).seen)
    assert "url(" not in text
    assert "style=" not in text
    assert (answer["X-Content-Type-Options"], answer["Cache-Control"]) == ("nosniff", "private, no-store")


def test_hostile_names_are_shown_as_text(work):
    with connection.cursor() as cursor:
        for table, column in (("farm", "name"), ("block", "name"), ("vine", "label")):
            where = "id = %s" if table != "vine" else "farm_id = %s AND place = 2"
            key = {"farm": work.yard.block.farm_id, "block": work.yard.block.pk, "vine": work.yard.block.farm_id}[table]
            cursor.execute(f"UPDATE {table} SET {column} = %s WHERE {where}", [HOSTILE, key])
    text = page(work).content.decode()
    assert "script" not in Cells(text).seen
    assert (
        text.count("&lt;script&gt;alert(1)&lt;/script&gt; &amp; &quot;x&quot; &#x27;") == 6
    )  # title, heading, block, three


def test_a_pile_of_paper_is_refused_with_the_way_out(work, monkeypatch):
    monkeypatch.setattr("balance.api.cordons.worklist_page.MOST_PRINTED", 3)
    answer = page(work)
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (422, "too_many_cases")


def test_nothing_to_do_is_said(work):
    assert "No case asks for work." in page(work, "season=2010&part_of_year=winter&as=html").content.decode()
