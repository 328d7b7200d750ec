"""Print the day for a person: a table of vines, the steps of one target, and where to look next."""

from __future__ import annotations

from typing import Any, Final

from rich.console import Console
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from vineyard.demo.playing import Played
from vineyard.demo.scenario import Scenario

_OUTCOMES: Final = {
    "within_tolerance": ("on target", "green"),
    "too_many": ("too many", "yellow"),
    "too_few": ("too few", "yellow"),
}

_LEVELS: Final = {"group": "cultivar group", "request": "request itself"} | {
    level: level for level in ("vine", "block", "farm", "cultivar")
}


def console() -> Console:
    """Give a console: as wide as the terminal, or 100 columns where there is none."""
    plain = Console()
    return plain if plain.is_terminal else Console(width=100)


def print_day(out: Console, scenario: Scenario, day: list[Played]) -> None:
    """Print one line a vine."""
    table = Table(title=f"{scenario.block.columns['name']}, season {scenario.season}", title_justify="left")
    table.add_column("row-vine")
    table.add_column("weighed", justify="right")
    table.add_column("target", justify="right")
    table.add_column("kept", justify="right")
    table.add_column("verdict")
    for played in day:
        table.add_row(*_cells(played))
    out.print(table)


def _cells(played: Played) -> list[str | Text]:
    target, record = played.record["target"], played.record
    scale = target["scale"]
    number = "–" if target["nodes"] is None else str(target["nodes"])
    if target["nodes"] is not None and scale:
        number += f" ± {scale['nodes']}"
    kept = "–" if record["nodes_retained"] is None else str(record["nodes_retained"])
    return [f"{played.visit.row}-{played.visit.place}", played.weight_as_sent, number, kept, _verdict(record)]


def _verdict(record: dict[str, Any]) -> Text:
    verdict, target = record["verdict"], record["target"]
    if verdict is None:
        status = target["status"].replace("_", " ")
        return Text("not counted yet" if target["status"] == "ok" else f"no number: {status}", style="dim")
    word, style = _OUTCOMES[verdict["outcome"]]
    more = f" by {abs(verdict['difference'])}" if verdict["outcome"] != "within_tolerance" else ""
    slip = " – see below" if verdict["slips"] else ""
    return Text(f"{word}{more}{slip}", style=style)


def print_steps(out: Console, day: list[Played]) -> None:
    """Print the steps of the target whose count was an arithmetic slip, and the reason of one without a number.

    Who plays on with ``serve --demo`` may have changed either: then it is left out.
    """
    for slipped in [each for each in day if (each.record["verdict"] or {}).get("slips")][:1]:
        _print_slip(out, slipped)
    for below in [each for each in day if each.record["target"]["status"] == "below_formula_range"][:1]:
        name = f"Why vine {below.visit.row}-{below.visit.place} has no number"
        out.print(Panel(below.record["target"]["reason"], title=name, title_align="left"))


def _print_slip(out: Console, slipped: Played) -> None:
    target, verdict = slipped.record["target"], slipped.record["verdict"]
    formula = target["formula"]
    lines = Text()
    lines.append(f"{formula['label']}, named by the {_LEVELS[target['level']]}.\n", "dim")
    lines.append(f"{formula['source']} ({formula['source_mark']}).\n\n", "dim")
    for step in target["steps"]:
        lines.append(f"{step['calculation']:<18}", "bold")
        lines.append(f" {step['sentence']}\n")
    lines.append(f"\n{verdict['sentence']}\n", "yellow")
    for slip in verdict["slips"]:
        lines.append(slip["sentence"])
    name = f"How vine {slipped.visit.row}-{slipped.visit.place} comes to {target['nodes']}"
    out.print(Panel(lines, title=name, title_align="left"))


def print_block(out: Console, statistics: dict[str, Any], targets: dict[str, Any]) -> None:
    """Print what the block says as a whole."""
    out.print(
        f"Block: {statistics['n']} of {targets['count']} vines weighed, mean {statistics['mean']:.2f} lb, standard "
        f"deviation {statistics['standard_deviation']:.2f} lb (CV {statistics['coefficient_of_variation']:.0f} %); "
        f"{targets['with_target']} have a target."
    )


def print_where_next(out: Console, cautions: list[str], seconds: float) -> None:
    """Print the cautions and what to try."""
    for caution in cautions:
        out.print(f"! {caution}", style="dim")
    out.print(
        f"\nDone in {seconds:.1f} s. Farms, people and weights are invented. Next:\n"
        "  uv run manage.py serve --demo                    the same, staying up, with a key for each person\n"
        "  http://127.0.0.1:8000/docs                       every call, to try\n"
        "  http://127.0.0.1:8000/board                      what an adviser sees, by the key of a person\n"
        "  curl -H 'Authorization: Bearer KEY' http://127.0.0.1:8000/api/v1/me\n"
        "  uv run manage.py import_vines FILE.csv           your own weights\n"
        "  README.md                                        a tour by curl",
        highlight=False,
    )
