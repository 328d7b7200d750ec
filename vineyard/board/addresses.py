"""Addresses of the board."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from django.db.transaction import non_atomic_requests
from django.urls import URLPattern, path

from vineyard.board import blocks, farms, pictures, portfolio, reports, signing, worklists

_FARM: Final = "board/farms/<uuid:farm>"
_BLOCK: Final = f"{_FARM}/blocks/<uuid:block>"


def _page(route: str, view: Callable[..., Any], name: str) -> URLPattern:
    """Give an address outside any transaction: each call of the API from its page begins one of its own."""
    return path(route, non_atomic_requests(view), name=name)


ADDRESSES: Final = [
    _page("board", portfolio.Portfolio.as_view(), "board"),
    _page("board/sign-in", signing.SignIn.as_view(), "board-sign-in"),
    _page("board/sign-in/as-myself", signing.SignInAsMyself.as_view(), "board-sign-in-as-myself"),
    _page("board/sign-out", signing.SignOut.as_view(), "board-sign-out"),
    _page("board/units", signing.ChooseUnits.as_view(), "board-units"),
    _page("board/worklists", worklists.Worklists.as_view(), "board-worklists"),
    _page("board/reports", reports.FarmsWithReports.as_view(), "board-farms-with-reports"),
    _page(_FARM, farms.Farm.as_view(), "board-farm"),
    _page(f"{_FARM}/charts/<slug:chart>.svg", pictures.Chart.as_view(), "board-farm-chart"),
    _page(f"{_FARM}/worklist", worklists.Worklist.as_view(), "board-worklist"),
    _page(f"{_FARM}/worklist/print", worklists.WorklistToPrint.as_view(), "board-worklist-to-print"),
    _page(f"{_FARM}/worklist.csv", worklists.WorklistFile.as_view(), "board-worklist-file"),
    _page(f"{_FARM}/reports", reports.Reports.as_view(), "board-reports"),
    _page(f"{_FARM}/reports/<uuid:report>", reports.Report.as_view(), "board-report"),
    _page(f"{_FARM}/reports/<uuid:report>/files/<slug:form>", reports.ReportFile.as_view(), "board-report-file"),
    _page(_BLOCK, blocks.Block.as_view(), "board-block"),
    _page(f"{_BLOCK}/vine-map.svg", pictures.VineMapPicture.as_view(), "board-vine-map"),
    _page(f"{_BLOCK}/charts/<slug:chart>.svg", pictures.Chart.as_view(), "board-block-chart"),
]
