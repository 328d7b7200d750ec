"""The report of a program in the shape of a farm's: one page of sections, without a summary."""

from __future__ import annotations

from typing import Any

Plain = dict[str, Any]


def as_one_page(document: Plain) -> Plain:
    """Give what the forms of a farm's report take."""
    page = {
        "block": "program", "name": "", "cultivar": "", "rootstock": "", "training": "", "vines": 0,
        "sections": document["sections"],
    }  # fmt: skip
    return {**document, "farm_name": document["program_name"], "summary": [], "blocks": [page]}
