"""Print the last winter of the five years for a person: the work of each farm, and which vines come first."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from rich.console import Console
from rich.table import Table

from balance.formulas.counting import counted

#: So many vines are named; the rest is in the worklist.
FIRST_VINES: Final = 5


def print_winter(out: Console, season: int, winters: Mapping[str, dict[str, Any]], urgent: dict[str, Any]) -> None:
    """Print the tasks of each farm's winter, and the vines that come first by urgency.

    ``winters`` holds the worklists by the farms' names, ``urgent`` the most urgent work of the first.
    """
    counts = {name: {each["task"]: each["count"] for each in body["by_task"]} for name, body in winters.items()}
    table = Table(title=f"Cordons to replace: the work of winter {season - 1}/{season}", title_justify="left")
    table.add_column("task")
    for name in winters:
        table.add_column(name.removesuffix(" (invented)"), justify="right")
    for task in dict.fromkeys(task for told in counts.values() for task in told):
        table.add_row(task.replace("_", " "), *(str(told.get(task, "–")) for told in counts.values()))
    table.add_section()
    table.add_row("vines", *(str(body["vines"]) for body in winters.values()))
    table.add_row("hours", *(_hours(body) for body in winters.values()))
    out.print(table)
    out.print(f"First at {next(iter(winters))}, the longest overdue:")
    for row in urgent["results"][:FIRST_VINES]:
        where = f"{row['block_name'].removesuffix(' (invented)')} {row['row_number']}-{row['place']}"
        out.print(f"  {where}: {row['task'].replace('_', ' ')} – {row['reason']}", highlight=False)
    out.print(
        "No source prints a share of blank cordon at which to act: the thresholds are the farms' own.", style="dim"
    )


def _hours(body: dict[str, Any]) -> str:
    if body["hours"] is None:
        return "–"
    without = f" + {counted(body['without_minutes'], 'task')}" if body["without_minutes"] else ""
    return f"{body['hours']:.1f}{without}"
