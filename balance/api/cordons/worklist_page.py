"""A worklist as a page to print or to read on a phone: it stands alone, loads nothing and runs nothing."""

from __future__ import annotations

import base64
import hashlib
from itertools import groupby
from typing import Any, Final

from django.conf import settings
from django.http import HttpResponse
from django.template.loader import render_to_string

from balance.advice import CAUTIONS
from balance.api.cordons.worklist_rows import reminders
from balance.cordons.days import today_on
from balance.cordons.parts_of_year import months_of
from balance.cordons.worklist import TASK, URGENCY, WALKING, Wanted, Work, Worklist, effort_of
from balance.formulas.cordons.reminders import SAYS, WINTER
from balance.formulas.methods import READ
from records.api.forms import HTML
from records.errors import NotValid
from records.models import Farm

#: More tasks than this are a pile of paper; they are asked for block by block or row by row.
MOST_PRINTED: Final = 5_000
_STYLE: Final = render_to_string("balance/printed.css")
_DIGEST: Final = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()
#: Nothing is loaded from anywhere, no script runs, and the one style is the page's own.
POLICY: Final = (
    f"default-src 'none'; style-src 'sha256-{_DIGEST}'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
)
_ORDERS: Final = {WALKING: "in walking order", URGENCY: "longest overdue first", TASK: "task by task"}


def page_of(farm: Farm, wanted: Wanted, listed: Worklist) -> HttpResponse:
    """Give the page.

    Raises
    ------
    NotValid
        There are too many tasks to be printed.
    """
    works = listed.works
    if len(works) > MOST_PRINTED:
        raise NotValid.at(
            "block" if wanted.block_id is None else "row_number",
            code="too_many_cases",
            detail=f"{len(works):,} tasks are more than the {MOST_PRINTED:,} that are printed at once; ask block by "
            "block, or row by row, or take the list as CSV.",
        )
    context = {
        "style": _STYLE,
        "farm": farm.name,
        "season": wanted.season,
        "part": "Winter before" if wanted.part_of_year == WINTER else "Summer of",
        "months": months_of(farm, wanted.season, wanted.part_of_year),
        "order": _ORDERS[wanted.order],
        "made_on": today_on(farm),
        "version": settings.SPECTACULAR_SETTINGS["VERSION"],
        "effort": effort_of(works),
        "without_a_vine": listed.without_a_vine,
        "without_proposals": listed.without_proposals,
        "reminders": [{**one, "source": _unmarked(one["source"])} for one in reminders(works)],
        "parts": _parts(wanted, works),
        "names_blocks": wanted.order != WALKING,
        "cautions": CAUTIONS,
    }
    return HttpResponse(
        render_to_string("balance/cordon_worklist.html", context),
        content_type=f"{HTML}; charset=utf-8",
        headers={
            "Content-Security-Policy": POLICY,
            "X-Content-Type-Options": "nosniff",
            "Cache-Control": "private, no-store",
        },
    )


def _unmarked(source: str) -> str:
    """Leave out the mark of a text that was read: nobody in the row knows it, and no source still says so."""
    return source.replace(f" ({READ})", "")


def _parts(wanted: Wanted, works: list[Work]) -> list[dict[str, Any]]:
    """Give the list in parts with a heading each: by block, by how long overdue, or by task."""
    keys = {
        WALKING: lambda work: (work.case.block_id, work.case.block_name),
        URGENCY: lambda work: (work.task.overdue, work.late.capitalize() or "Due now"),
        TASK: lambda work: (work.task.code, SAYS[work.task.code].name),
    }
    parts = [(heading, list(rows)) for (_, heading), rows in groupby(works, keys[wanted.order])]
    return [{"heading": heading, "effort": effort_of(rows), "rows": [_row(work) for work in rows]}
            for heading, rows in parts]  # fmt: skip


def _row(work: Work) -> dict[str, Any]:
    case = work.case
    return {
        "block": case.block_name,
        "row": case.row_number,
        "place": case.place,
        "label": case.label,
        "task": SAYS[work.task.code].name,
        "reason": work.reason,
        "late": work.late,
        "minutes": work.minutes,
    }
