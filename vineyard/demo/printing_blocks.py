"""Print where the blocks of several farms stand, as the adviser of all of them sees it at once."""

from __future__ import annotations

from typing import Any, Final

from rich.console import Console
from rich.table import Table

_INVENTED: Final = " (invented)"


def print_blocks(out: Console, comparison: dict[str, Any], attention: dict[str, Any]) -> None:
    """Print a line a block, and how much wants a look, by what it is."""
    title = f"All farms of one adviser at the end of season {comparison['season']}"
    table = Table(title=title, title_justify="left")
    for heading in ("farm", "block", "stands"):
        table.add_column(heading)
    for heading in ("weighed", "mean", "crop load", "open cases"):
        table.add_column(heading, justify="right")
    for row in comparison["results"]:
        table.add_row(*_cells(row))
    out.print(table)
    counts = ", ".join(f"{each['code'].replace('_', ' ')} {each['count']}" for each in attention["by_code"])
    out.print(f"{attention['count']} things want a look: {counts}.", highlight=False)


def _cells(row: dict[str, Any]) -> list[str]:
    load, mean = row["crop_load"], row["mean_weight"]
    return [
        row["farm_name"].removesuffix(_INVENTED),
        row["block_name"].removesuffix(_INVENTED),
        row["standing"].replace("_", " "),
        f"{row['weighed']} of {row['standing_vines']}",
        "–" if mean is None else f"{mean:.2f} {row['weight_unit']}",
        "–" if load is None else f"{load:.1f}",
        str(row["open_cases"]),
    ]
