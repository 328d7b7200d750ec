"""Drawings of the API as pictures of a page: a page has no inline style, and a picture needs none."""

from __future__ import annotations

import uuid
from typing import Final

from django.http import Http404, HttpRequest, HttpResponse

from vineyard.board.pages import BoardPage, handed_on

#: What a chart over the seasons may show, as the API calls it, and what the page calls it.
FIGURES_OF_MANY: Final = {
    "mean_weight": "Pruning weight",
    "mean_difference": "Count less target",
    "blank_share": "Blank cordon",
}
FIGURES: Final = {**FIGURES_OF_MANY, "crop_load": "Crop load"}
#: So many rows are drawn at once where a block is too large to be drawn whole.
ROWS_SHOWN: Final = 50
#: Charts by the name under which a page shows them, with what of the page's address they take.
CHARTS: Final = {
    "season-trend": ("figure",),
    "weight-distribution": ("season",),
    "block-comparison": ("season", "order"),
}
_MAP_TAKES: Final = ("season", "show", "from_row", "to_row", "rows_run")


class VineMapPicture(BoardPage):
    """The map of a block, drawn."""

    def get(self, request: HttpRequest, farm: uuid.UUID, block: uuid.UUID) -> HttpResponse:  # noqa: ARG002
        query = {**self.asked(*_MAP_TAKES), "units": self.kept.units, "as": "svg"}
        return handed_on(self.api.fetch(f"/farms/{farm}/blocks/{block}/vine-map", **query), shown=True)


class Chart(BoardPage):
    """A chart of a farm or of a block."""

    def get(self, request: HttpRequest, farm: uuid.UUID, chart: str, block: uuid.UUID | None = None) -> HttpResponse:  # noqa: ARG002
        if chart not in CHARTS:
            raise Http404
        scope = f"/farms/{farm}" + (f"/blocks/{block}" if block else "")
        query = {**self.asked(*CHARTS[chart]), "units": self.kept.units, "as": "svg"}
        return handed_on(self.api.fetch(f"{scope}/{chart}", **query), shown=True)
