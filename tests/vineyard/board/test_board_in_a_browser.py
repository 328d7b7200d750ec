"""The board as an adviser uses it: in a real browser, on a phone and at a desk, with a keyboard and with poor sight.

The served scenario answers, with its own headers; nothing is opened on the way but the address under test.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any

import pypdfium2
import pytest

from tests.browser import AXE, Browser, Seen, chromium
from tests.vineyard.test_serve import Served

pytestmark = [
    pytest.mark.slow,
    pytest.mark.timeout(600),
    pytest.mark.skipif(
        chromium() is None or not AXE.exists(), reason="Chromium or axe-core (.ci/node_tools) is missing."
    ),
]
PHONE, DESK = 375, 1280
NARROWEST = 320
NAMES = ["board", "worklists", "reports", "farm", "farm worklist", "farm reports", "block", "counts", "cordons", "bare"]
PAGES = {
    "board": "/board",
    "worklists": "/board/worklists",
    "reports": "/board/reports",
    "farm": "/board/farms/{cordon_farm}",
    "farm worklist": "/board/farms/{cordon_farm}/worklist?part_of_year=winter&season=2026",
    "farm reports": "/board/farms/{cordon_farm}/reports",
    "block": "/board/farms/{cordon_farm}/blocks/{cordon_block}",
    "counts": "/board/farms/{cordon_farm}/blocks/{cordon_block}?season=2025&show=count&figure=crop_load&all=1",
    "cordons": "/board/farms/{cordon_farm}/blocks/{cordon_block}?season=2025&show=cordon&figure=blank_share",
    "bare": "/board/farms/{farm}",
}
REFUSALS = {"nothing": "/board/farms/{other_farm}", "refused": "/board/farms/{cordon_farm}?season=abc"}


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    home = tmp_path_factory.mktemp("served")
    for folder in (home, home.parent):
        folder.chmod(0o755)
    running = Served(home)
    farm = running.facts["cordon_farm"]
    blocks = running.ask("adviser", "GET", f"/api/v1/farms/{farm}/blocks").json()["results"]
    running.facts["cordon_block"] = blocks[-1]["id"]
    yield running
    running.process.terminate()
    running.process.wait(30)


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory, served: Served) -> Iterator[Browser]:
    running = Browser(tmp_path_factory.mktemp("chromium"))
    sign_in(running, served)
    yield running
    running.close()


def until(seen: Seen, condition: str) -> None:
    """Wait until something holds on a page, which may be another by then."""
    end = time.monotonic() + 60
    while time.monotonic() < end:
        try:
            if seen.value(condition):
                return
        except AssertionError:  # between two pages there is none to ask
            pass
        time.sleep(0.05)
    pytest.fail(f"never: {condition}")


def tab_to(seen: Seen, selector: str) -> None:
    """Press Tab until something has the focus."""
    for _ in range(200):
        seen.press("Tab")
        if seen.in_own_world(f"document.activeElement.matches({selector!r})"):
            return
    pytest.fail(f"the keyboard never reaches {selector}")


def enter(seen: Seen) -> None:
    """Press Enter as a keyboard does, with the character by which a form is sent."""
    key = {"key": "Enter", "code": "Enter", "windowsVirtualKeyCode": 13}
    seen.page.call("Input.dispatchKeyEvent", type="keyDown", text="\r", **key)
    seen.page.call("Input.dispatchKeyEvent", type="keyUp", **key)


def sign_in(browser: Browser, served: Served) -> None:
    """Sign in as somebody does who has no mouse: to the field, the key, Enter."""
    with browser.seen(f"{served.url}/board", PHONE) as seen:
        assert seen.value("location.pathname") == "/board/sign-in"
        tab_to(seen, "#key")
        seen.page.call("Input.insertText", text=served.facts["keys"]["adviser"])
        enter(seen)
        until(seen, "location.pathname == '/board' && document.readyState == 'complete'")
        assert seen.value("document.cookie").find("vine_") == -1


def address(served: Served, path: str) -> str:
    return f"{served.url}{path.format(**served.facts)}"


def faults(seen: Seen) -> list[Any]:
    """Give what is wrong with a page, closed and with everything on it opened."""
    found: list[Any] = seen.faults()
    seen.in_own_world("for (const each of document.querySelectorAll('details')) each.open = true")
    return [*found, *seen.faults()]


def too_wide(seen: Seen) -> list[str]:
    wide, shown = seen.in_own_world("(it => [it.scrollWidth, it.clientWidth])(document.documentElement)")
    return [f"{wide} px wide in a window of {shown} px"] if wide > shown else []


@pytest.mark.parametrize("width", [PHONE, DESK])
@pytest.mark.parametrize("name", NAMES)
def test_a_page_is_quiet_fits_loads_from_here_alone_and_has_no_fault(browser, served, name, width):
    with browser.seen(address(served, PAGES[name]), width) as seen:
        assert seen.complaints == []
        assert all(asked.startswith(f"{served.url}/") for asked in seen.asked)
        assert seen.in_own_world("[...document.images].filter(it => !it.complete || !it.naturalWidth).length") == 0
        assert too_wide(seen) == []
        assert faults(seen) == []


@pytest.mark.parametrize("width", [PHONE, DESK])
@pytest.mark.parametrize("name", list(REFUSALS))
def test_a_refusal_is_a_page_without_fault(browser, served, name, width):
    with browser.seen(address(served, REFUSALS[name]), width) as seen:
        assert [each for each in seen.complaints if "Failed to load resource" not in each] == []
        assert too_wide(seen) == []
        assert faults(seen) == []


@pytest.mark.parametrize("name", NAMES)
def test_the_narrowest_phone_scrolls_no_page_sideways(browser, served, name):
    with browser.seen(address(served, PAGES[name]), NARROWEST) as seen:
        seen.in_own_world("for (const each of document.querySelectorAll('details')) each.open = true")
        assert too_wide(seen) == []


@pytest.mark.parametrize("name", ["board", "block", "cordons", "farm worklist", "farm reports"])
def test_whoever_prefers_dark_pages_reads_them_as_well(browser, served, name):
    with browser.seen(address(served, PAGES[name]), PHONE) as seen:
        seen.page.call("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": "dark"}])
        assert seen.in_own_world("getComputedStyle(document.body).backgroundColor") == "rgb(22, 28, 24)"
        assert faults(seen) == []


def test_the_sign_in_page_has_no_fault_also_where_it_refuses(tmp_path_factory, served):
    stranger = Browser(tmp_path_factory.mktemp("stranger"))
    try:
        for width in (PHONE, DESK):
            with stranger.seen(f"{served.url}/board/sign-in", width) as seen:
                assert (seen.complaints, faults(seen), too_wide(seen)) == ([], [], [])
                tab_to(seen, "#key")
                seen.page.call("Input.insertText", text="vine_wrong")
                enter(seen)
                until(seen, "!!document.querySelector('[role=alert]')")
                assert faults(seen) == []
                assert seen.value("document.querySelector('#key').value") == ""
    finally:
        stranger.close()


@pytest.mark.parametrize("name", ["board", "block", "farm reports"])
def test_the_first_key_leads_past_the_head_and_every_control_is_reached_and_shown(browser, served, name):
    with browser.seen(address(served, PAGES[name]), PHONE) as seen:
        seen.press("Tab")
        assert seen.in_own_world("document.activeElement.textContent") == "Skip to the content"
        enter(seen)
        assert seen.in_own_world("document.activeElement.id") == "main"
        wanted = seen.in_own_world(
            "[...document.querySelectorAll('main a[href], main button, main input:not([type=hidden]), main select, "
            'main summary, main [tabindex="0"]\')].filter(it => it.checkVisibility()).length'
        )
        for _ in range(wanted):
            seen.press("Tab")
            where, style = seen.in_own_world(
                "(it => [!!it.closest('main'), getComputedStyle(it).outlineStyle])(document.activeElement)"
            )
            assert where
            assert style == "solid"
        seen.press("Tab")
        assert seen.in_own_world("!!document.activeElement.closest('footer')")


def test_a_map_wider_than_the_phone_is_scrolled_in_a_box_that_keys_reach(browser, served):
    with browser.seen(address(served, PAGES["cordons"]), PHONE) as seen:
        box = seen.in_own_world(
            "(it => [it.tabIndex, !!it.getAttribute('aria-label'), it.querySelector('img').currentSrc])"
            "(document.querySelector('[aria-labelledby=map] .picture'))"
        )
    assert box[:2] == [0, True]
    assert "rows_run=down" in box[2]
    with browser.seen(address(served, PAGES["cordons"]), DESK) as seen:
        assert "rows_run" not in seen.in_own_world("document.querySelector('[aria-labelledby=map] img').currentSrc")


def test_a_report_is_asked_for_by_keyboard_and_the_page_shows_it_when_it_is_made(browser, served):
    with browser.seen(address(served, PAGES["farm reports"]), PHONE) as seen:
        tab_to(seen, "main form button")
        enter(seen)
        until(seen, "!!document.querySelector('.files a')")
        assert faults(seen) == []
        forms = seen.in_own_world("[...document.querySelectorAll('.files a')].map(it => it.textContent)")
        assert set(forms) == {"PDF", "Page", "Workbook", "CSV", "JSON"}
        page = seen.in_own_world("[...document.querySelectorAll('.files a')].find(it => it.textContent == 'Page').href")
    with browser.seen(page, DESK) as seen:
        assert "2026" in seen.in_own_world("document.body.textContent")


def test_a_worklist_is_printed_without_what_only_a_screen_needs(browser, served):
    with browser.seen(address(served, PAGES["farm worklist"]), DESK) as seen:
        printed = pypdfium2.PdfDocument(seen.printed(8.27, 11.69))
    text = printed[0].get_textpage().get_text_bounded()
    assert "Cordon work" in text
    for word in ("Sign out", "Page to print", "Skip to"):
        assert word not in text
