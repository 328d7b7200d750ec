"""The files of a report on the board: its page is read there, every other form is saved."""

from __future__ import annotations

import pytest

from tests.vineyard.board.boarding import Visitor, loaded, same_application

pytestmark = pytest.mark.usefixtures("same_application")
__all__ = ["loaded", "same_application"]


def test_the_page_of_a_report_is_shown_in_its_sandbox_and_the_other_forms_are_saved(desk):
    report = desk.made()
    adviser = Visitor()
    assert adviser.sign_in(desk.cast.adviser.key_text).status_code == 302
    files = f"/board/farms/{desk.cast.farm.pk}/reports/{report['id']}/files"
    shown = adviser.page(f"{files}/html")
    assert "Content-Disposition" not in shown.headers
    assert shown.headers["Content-Security-Policy"].startswith("sandbox; default-src 'none'")
    for form in ("pdf", "json", "csv", "xlsx"):
        saved = adviser.page(f"{files}/{form}")
        assert saved.headers["Content-Disposition"].startswith("attachment; filename="), form
