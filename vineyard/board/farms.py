"""One farm: its season at a glance, what needs a look, its blocks beside each other, and what is not recorded yet."""

from __future__ import annotations

import uuid
from typing import Any, Final

from django.http import HttpRequest, HttpResponse

from vineyard.board.pages import BoardPage
from vineyard.board.pictures import FIGURES_OF_MANY
from vineyard.board.portfolio import LINES, NOTICES, ORDERS, next_query

CHOSEN: Final = "mean_weight"


def seasons_beside(season: Any) -> dict[str, int] | None:
    """Give the seasons before and after one, for links."""
    return {"before": season - 1, "this": season, "after": season + 1} if isinstance(season, int) else None


class Farm(BoardPage):
    """The page of a farm."""

    def get(self, request: HttpRequest, farm: uuid.UUID) -> HttpResponse:
        path = f"/farms/{farm}"
        told = self.api.get(path)
        season, units = self.asked("season"), {"units": self.kept.units}
        summary = self.api.get(f"{path}/season-summary", **units, **season)
        cursors = self.asked("notices", "blocks")
        order = request.GET.get("order") or "standing"
        attention = self.api.part(f"{path}/attention", **units, **season, limit=NOTICES, cursor=cursors.get("notices"))
        blocks = self.api.part(
            f"{path}/block-comparison", **units, **season, order=order, limit=LINES, cursor=cursors.get("blocks")
        )
        return self.page(
            "farm",
            farm=told,
            summary=summary,
            attention=attention,
            blocks=blocks,
            completeness=self.api.part(f"{path}/completeness", **season, limit=LINES),
            more_notices=next_query(request, "notices", attention.told),
            more_blocks=next_query(request, "blocks", blocks.told),
            seasons=seasons_beside(summary["season"]),
            asked_season=season.get("season", ""),
            orders=ORDERS,
            order=order,
            figures=FIGURES_OF_MANY,
            figure=request.GET.get("figure") or CHOSEN,
        )
