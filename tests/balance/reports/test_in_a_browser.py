"""What a person opens, as a browser shows it on a phone and on a desk: whole, quiet, and usable by everybody.

The service's own answers, with their headers, are given again over loopback, because a browser sends no key.  The rules
of accessibility need timers, which a page in a sandbox has not: for them the same page is opened once more without.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import pypdfium2
import pytest

from balance.reports.forms import as_html
from tests.balance.cordons.test_cases import Cases
from tests.balance.reports import told
from tests.balance.reports.season_told import Told, whole_year
from tests.balance.reports.village import Village
from tests.browser import AXE, Browser, Seen, chromium
from tests.records.yard import Yard

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        chromium() is None or not AXE.exists(), reason="Chromium or axe-core (.ci/node_tools) is missing."
    ),
]
WIDTHS = (375, 1280)
POLICY = "Content-Security-Policy"
Give = Callable[[bytes, dict[str, str]], str]


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    running = Browser(tmp_path_factory.mktemp("chromium"))
    yield running
    running.close()


@pytest.fixture(scope="module")
def give() -> Iterator[Give]:
    """Put an answer where the browser finds it; gives its address."""
    answers: dict[str, tuple[bytes, dict[str, str]]] = {}

    class Answers(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            path, _, unboxed = self.path.partition("?")
            content, headers = answers.get(path, (b"", {}))
            if unboxed:
                headers = {name: value for name, value in headers.items() if name != POLICY}
            self.send_response(200 if content else 404)
            for name, value in {**headers, "Content-Length": str(len(content))}.items():
                self.send_header(name, value)
            self.end_headers()
            self.wfile.write(content)

        def log_message(self, *_: Any) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Answers)
    threading.Thread(target=server.serve_forever, daemon=True).start()

    def put(content: bytes, headers: dict[str, str]) -> str:
        answers[f"/{len(answers)}"] = (content, headers)
        return f"http://127.0.0.1:{server.server_port}/{len(answers) - 1}"

    yield put
    server.shutdown()
    server.server_close()


def answered(give: Give, answer: Any) -> str:
    assert answer.status_code == 200, answer.content
    # A report is an attachment: what is looked at is the file as its reader saved and opened it, under the same policy.
    headers = {name: value for name, value in answer.headers.items() if name != "Content-Disposition"}
    return give(answer.content, headers)


def page_of(give: Give, document: dict[str, Any]) -> str:
    return give(as_html.render(document), {"Content-Type": "text/html", POLICY: as_html.POLICY})


def troubles(browser: Browser, address: str, width: int) -> list[Any]:
    """Give whatever is wrong with a page: what it says on the console, asks for, hides or makes hard to use."""
    with browser.seen(address, width) as seen:
        found: list[Any] = [*seen.complaints]
        found += [asked for asked in seen.asked if asked != address and not asked.startswith("data:")]
        wide, shown = opened_out(seen)
        found += [f"{wide} px wide in a window of {width} px"] if wide > min(shown, width) else []
    with browser.seen(f"{address}?unboxed", width) as seen:
        opened_out(seen)
        return found + seen.faults()


def opened_out(seen: Seen) -> tuple[int, int]:
    """Open whatever can be opened on the page; gives how wide it is, and how wide the window."""
    seen.in_own_world("for (const each of document.querySelectorAll('details')) each.open = true")
    wide, shown = seen.in_own_world("(it => [it.scrollWidth, it.clientWidth])(document.documentElement)")
    return wide, shown


def test_a_report_as_it_was_made_of_a_whole_year(browser, give, desk):
    whole_year(Told.concord(desk, "Tarn Field"))
    address = answered(give, desk.file(desk.made(units="us"), "html"))
    for width in WIDTHS:
        assert troubles(browser, address, width) == []


def test_the_report_of_a_program(browser, give, transactional_db, cast):
    village = Village(cast)
    address = answered(give, village.file(village.made(), "html"))
    for width in WIDTHS:
        assert troubles(browser, address, width) == []


@pytest.mark.parametrize("width", WIDTHS)
def test_a_report_with_a_block_of_each_standing_and_a_chart_of_each_kind(browser, give, width):
    address = page_of(give, told.document(told.charts()))
    assert troubles(browser, address, width) == []


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize(
    "text",
    [
        "x" * 2_000,
        "<img src=http://x.example/a onerror=1><script>1</script>",
        "\u05d0\u05d1\u05d2 \u202e1 lb",
        "\u6f22\u5b57",
    ],
)
def test_a_report_full_of_what_somebody_should_not_have_written(browser, give, width, text):
    address = page_of(give, told.with_text(told.document(told.charts(text, text)), text))
    assert troubles(browser, address, width) == []


def test_a_word_of_a_million_letters_breaks_where_the_window_ends(browser, give):
    document = told.document()
    document["blocks"][0]["sections"][0]["sentences"] = ["x" * 1_000_000]
    document["blocks"][0]["sections"][0]["tables"][1]["rows"][0][-1] = "x" * 1_000_000
    with browser.seen(page_of(give, document), 375) as seen:
        wide, shown = opened_out(seen)
        assert wide <= shown


def test_the_first_key_leads_to_the_summary_past_the_contents(browser, give):
    with browser.seen(page_of(give, told.document()), 1280) as seen:
        seen.press("Tab")
        assert seen.in_own_world("document.activeElement.textContent") == "Skip to the summary"
        seen.press("Enter")
        assert seen.in_own_world("document.activeElement.id") == "summary"
        seen.press("Tab")
        assert seen.in_own_world("document.activeElement.closest('ol').className") == "look"


def test_on_a_phone_a_wide_table_is_scrolled_in_a_box_that_keys_reach(browser, give):
    with browser.seen(page_of(give, told.document()), 375) as seen:
        boxes = seen.in_own_world(
            "[...document.querySelectorAll('.scroll')].map(it => [it.tabIndex, it.scrollWidth > it.clientWidth, "
            "!!it.getAttribute('aria-label')])"
        )
    assert boxes == [[0, True, True]] * 3


@pytest.mark.parametrize(("wide", "tall"), [(8.27, 11.69), (8.5, 11)])
def test_it_is_printed_whole_on_paper_of_either_continent_and_every_block_begins_on_a_page(browser, give, wide, tall):
    document = told.document(told.charts())
    with browser.seen(page_of(give, document), 1280) as seen:
        printed = pypdfium2.PdfDocument(seen.printed(wide, tall))
    texts: list[str] = []
    for page in printed:
        assert page.get_size() == pytest.approx((wide * 72, tall * 72), abs=1)
        words = page.get_textpage()
        boxes = [words.get_rect(at) for at in range(words.count_rects())]
        assert all(left >= 0.4 * 72 and right <= (wide - 0.4) * 72 for left, _, right, _ in boxes)
        text = words.get_text_bounded()
        foot = f"Page {len(texts) + 1} of {len(printed)}"
        assert foot in text
        texts.append(text.replace(foot, "").strip())
    assert document["check_code"] in "".join("".join(texts).split())
    for block in document["blocks"]:
        assert any(text.startswith(block["name"]) for text in texts), block["name"]


@pytest.mark.parametrize("width", WIDTHS)
def test_the_worklist_of_cordons(browser, give, cast, db, width):
    cases = Cases(Yard(cast))
    cases.open(vine=str(cases.yard.vines[4].pk), noticed_on="2025-01-10")
    chosen = cases.open(vine=str(cases.yard.vines[8].pk), noticed_on="2023-01-10").json()
    cases.move(chosen, "candidate_chosen", "2023-07-08")
    query = "season=2026&part_of_year=winter&as=html"
    address = answered(give, cases.yard.client.get(f"{cases.yard.url}/cordon-worklist?{query}"))
    assert troubles(browser, address, width) == []


def test_a_page_with_faults_is_found_out(browser, give):
    """The tests above mean something: each of their checks finds its fault."""
    spoilt = (
        b"<!doctype html><html><body><script>nothing()</script><div style='width:3000px;color:#ddd'>pale and wide</div>"
        b"<img src='/other'></body></html>"
    )
    address = give(spoilt, {"Content-Type": "text/html"})
    found = " ".join(troubles(browser, address, 375))
    for fault in (
        "nothing is not defined",
        "/other",
        "px wide in a window of 375 px",
        "image-alt",
        "html-has-lang",
        "color-contrast",
    ):
        assert fault in found
