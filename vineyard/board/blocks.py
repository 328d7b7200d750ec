"""One block: its season at a glance, the map of its vines, its figures over the seasons, targets and cordon work."""

from __future__ import annotations

import uuid
from typing import Any, Final
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse

from vineyard.board.calls import Part
from vineyard.board.farms import CHOSEN, seasons_beside
from vineyard.board.keeping import PATH
from vineyard.board.pages import BoardPage
from vineyard.board.pictures import FIGURES, ROWS_SHOWN

#: What a map shows, as the API calls it, and what the page calls it.
SHOWS: Final = {"weight": "Weights", "count": "Counts against targets", "cordon": "Cordons"}


class Block(BoardPage):
    """The page of a block."""

    def get(self, request: HttpRequest, farm: uuid.UUID, block: uuid.UUID) -> HttpResponse:
        path = f"/farms/{farm}/blocks/{block}"
        base = PATH + path
        told = self.api.get(path)
        season, units = self.asked("season"), {"units": self.kept.units}
        summary = self.api.get(f"{path}/season-summary", **units, **season)
        show = request.GET.get("show") or "weight"
        shown = self.asked("from_row", "to_row")
        vine_map = self.api.part(f"{path}/vine-map", show=show, **units, **season, **shown)
        rows = _rows(vine_map)
        # A block that is too large to be drawn whole has rows all the same.
        row = request.GET.get("row") or (str(rows[0]) if rows else "1" if vine_map.refused else "")
        targets = self.api.part(f"{path}/targets", row_number=row, **season) if row else Part()
        return self.page(
            "block",
            farm=self.api.get(f"/farms/{farm}"),
            plot=told,
            summary=summary,
            attention=self.api.part(f"{path}/attention", **units, **season),
            seasons=seasons_beside(summary["season"]),
            asked_season=season.get("season", ""),
            vine_map=vine_map,
            shows=SHOWS,
            show=show,
            shown=shown,
            rows_shown=ROWS_SHOWN,
            row=row,
            rows=_beside(rows, row),
            targets=targets,
            vines=_vines(targets, self.kept.units, every=bool(request.GET.get("all"))),
            base=base,
            picture=_picture(base, show, {**season, **shown}),
            trend=self.api.part(f"{path}/season-trend", **units),
            figures=FIGURES,
            figure=request.GET.get("figure") or CHOSEN,
            work=self.api.part(f"/farms/{farm}/cordon-worklist", block=str(block)),
        )


def _rows(vine_map: Part) -> list[int]:
    return [row["row_number"] for row in (vine_map.told or {}).get("rows", [])]


def _beside(rows: list[int], row: str) -> dict[str, Any]:
    """Give the rows with those before and after the one that is shown."""
    at = rows.index(int(row)) if row.isdecimal() and len(row) < 6 and int(row) in rows else None
    return {
        "all": rows,
        "before": rows[at - 1] if at else None,
        "after": rows[at + 1] if at is not None and at + 1 < len(rows) else None,
    }


def _vines(targets: Part, units: str, *, every: bool) -> dict[str, Any]:
    """Give the vines of a row as the table shows them, and how many of which nothing is known it leaves out.

    The API tells weights in kilograms.
    """
    told = (targets.told or {}).get("results", [])
    shown = [vine for vine in told if every or vine["record"]]
    return {"shown": _lines(shown, units), "left_out": len(told) - len(shown)}


def _lines(vines: list[dict[str, Any]], units: str) -> list[dict[str, Any]]:
    unit, a_kilogram = ("lb", 1 / 0.45359237) if units == "us" else ("kg", 1.0)
    return [
        {
            "place": vine["place"],
            "label": vine["label"],
            "weight": "–"
            if vine["pruning_weight_kg"] is None
            else f"{vine['pruning_weight_kg'] * a_kilogram:.2f} {unit}",
            "nodes": vine["nodes"],
            "left": vine["nodes_retained"],
            "verdict": _verdict(vine),
        }
        for vine in vines
    ]


def _verdict(vine: dict[str, Any]) -> str:
    """Say in words how a count lies against its target, or why nobody can say."""
    if vine["outcome"] == "within_tolerance":
        return "on target"
    if vine["outcome"]:
        return f"{abs(vine['difference'])} {vine['outcome'].replace('_', ' ')}"
    if vine["status"] != "ok":
        return str(vine["status"]).replace("_", " ")
    return "not counted"


def _picture(base: str, show: str, query: dict[str, str]) -> str:
    """Give the address of the map's drawing."""
    return f"{base}/vine-map.svg?{urlencode({'show': show, **query})}"
