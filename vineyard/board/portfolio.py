"""All farms of the caller at once: what needs a look, how the blocks stand, and where to go on."""

from __future__ import annotations

from typing import Any, Final
from urllib.parse import parse_qs, urlencode, urlsplit

from django.http import HttpRequest, HttpResponse

from vineyard.board.pages import BoardPage

#: What narrows the blocks, as the API calls it, and what the form calls it.
FILTERS: Final = {
    "region": "Region",
    "cultivar": "Cultivar",
    "rootstock": "Rootstock",
    "training": "Training",
    "shelter": "Open field or tunnel",
}
#: In which order blocks are listed, as the API calls it, and what the form calls it.
ORDERS: Final = {
    "standing": "Standing",
    "name": "Name",
    "mean_weight": "Heaviest prunings",
    "mean_difference": "Most nodes over target",
    "crop_load": "Highest crop load",
    "blank_share": "Most blank cordon",
    "weighed_share": "Least weighed",
    "tasks_due": "Most cordon work",
}
#: What the API takes for these two; its document lists them.
TRAININGS: Final = (
    "bilateral_cordon",
    "unilateral_cordon",
    "quadrilateral_cordon",
    "head_trained",
    "four_arm_kniffin",
    "umbrella_kniffin",
    "geneva_double_curtain",
    "munson",
    "other",
    "not_stated",
)
SHELTERS: Final = ("open_field", "high_tunnel")
LINES: Final = 50
#: A page begins with the most urgent; the rest is a link away.
NOTICES: Final = 8


def after(told: Any) -> str:
    """Give where the next page of a list starts, from the address that the API gave; empty: there is none."""
    following = (told or {}).get("next") or ""
    return parse_qs(urlsplit(following).query).get("cursor", [""])[0]


def next_query(request: HttpRequest, name: str, told: Any) -> str:
    """Give the query of this page at which a list of it goes on; empty: it ends here."""
    cursor = after(told)
    return f"?{urlencode({**request.GET.dict(), name: cursor})}" if cursor else ""


class Portfolio(BoardPage):
    """The first page."""

    place = "portfolio"

    def get(self, request: HttpRequest) -> HttpResponse:
        me = self.api.get("/me")
        filters = self.asked(*FILTERS)
        common = {"units": self.kept.units, **filters}
        season = self.asked("season")
        order = request.GET.get("order") or "standing"
        cursors = self.asked("notices", "blocks")
        summary = self.api.part("/portfolio/season-summary", **common, **season)
        attention = self.api.part(
            "/portfolio/attention", **common, **season, limit=NOTICES, cursor=cursors.get("notices")
        )
        blocks = self.api.part(
            "/portfolio/block-comparison", **common, **season, order=order, limit=LINES, cursor=cursors.get("blocks")
        )
        return self.page(
            "portfolio",
            me=me,
            summary=summary,
            attention=attention,
            blocks=blocks,
            more_notices=next_query(request, "notices", attention.told),
            more_blocks=next_query(request, "blocks", blocks.told),
            filters=[(name, label, filters.get(name, "")) for name, label in FILTERS.items()],
            filtered=bool(filters or season),
            orders=ORDERS,
            order=order,
            asked_season=season.get("season", ""),
            many_farms=True,
            trainings=TRAININGS,
            shelters=SHELTERS,
        )
