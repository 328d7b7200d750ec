"""The work on cordons: of every farm in few lines, of one farm task by task, and as a page to print."""

from __future__ import annotations

import uuid
from typing import Final

from django.http import HttpRequest, HttpResponse

from vineyard.board.calls import Part
from vineyard.board.pages import BoardPage, handed_on
from vineyard.board.portfolio import LINES, next_query

_TAKES: Final = ("season", "part_of_year", "block", "row_number", "task", "order")
#: What the API takes, and what the form calls it.
PARTS: Final = {"winter": "Winter before the harvest", "summer": "Summer of the harvest"}
ORDERS: Final = {"walking": "Walking order", "urgency": "Longest overdue first", "task": "Task by task"}
#: More tasks than these are printed, or read block by block: a longer page is no help on a phone.
TASKS_SHOWN: Final = 200


class Worklists(BoardPage):
    """How much work there is, block by block."""

    place = "worklists"

    def get(self, request: HttpRequest) -> HttpResponse:
        cursor = self.asked("blocks").get("blocks")
        blocks = self.api.part("/portfolio/block-comparison", order="tasks_due", limit=LINES, cursor=cursor)
        return self.page(
            "worklists",
            me=self.api.get("/me"),
            blocks=blocks,
            more_blocks=next_query(request, "blocks", blocks.told),
        )


class Worklist(BoardPage):
    """The worklist of a farm, or of one block of it."""

    def get(self, request: HttpRequest, farm: uuid.UUID) -> HttpResponse:
        asked = self.asked(*_TAKES)
        listed = self.api.get(f"/farms/{farm}/cordon-worklist", **asked)
        blocks = self.api.part(f"/farms/{farm}/blocks", limit=500)
        return self.page(
            "worklist",
            farm=self.api.get(f"/farms/{farm}"),
            listed=listed,
            tasks=listed["results"][:TASKS_SHOWN],
            asked=asked,
            one_block=_named(asked.get("block", ""), blocks),
            blocks=blocks,
            parts=PARTS,
            orders=ORDERS,
            print_query=request.GET.urlencode(),
        )


def _named(block: str, blocks: Part) -> str:
    """Give the name of the block that was asked for."""
    return next((str(one["name"]) for one in (blocks.told or {}).get("results", []) if one["id"] == block), "")


class WorklistToPrint(BoardPage):
    """The page that the API itself gives for printing."""

    def get(self, request: HttpRequest, farm: uuid.UUID) -> HttpResponse:  # noqa: ARG002
        query = {**self.asked(*_TAKES), "as": "html"}
        return handed_on(self.api.fetch(f"/farms/{farm}/cordon-worklist", **query), shown=True)


class WorklistFile(BoardPage):
    """The same as a file for a spreadsheet."""

    def get(self, request: HttpRequest, farm: uuid.UUID) -> HttpResponse:  # noqa: ARG002
        query = {**self.asked(*_TAKES), "as": "csv"}
        return handed_on(self.api.fetch(f"/farms/{farm}/cordon-worklist", **query))
