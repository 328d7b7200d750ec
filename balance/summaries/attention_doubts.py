"""Cordons that ask for work now, and records of a block that look doubtful."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from balance.formulas.cordons.reminders import SAYS
from balance.formulas.counting import counted
from balance.summaries.attention import LATER, NOW, SOON, Asked, Notice
from balance.summaries.due_tasks import in_order
from balance.summaries.lines import Line

CORDONS_DUE: Final = "cordons_due"
ZERO_WEIGHTS: Final = "zero_weights"
FAR_OUT_WEIGHTS: Final = "far_out_weights"
WITHOUT_SCALE_STEP: Final = "without_scale_step"
WITHOUT_FORMULA: Final = "without_formula"


def cordons_due(line: Line, asked: Asked) -> Iterator[Notice]:
    """Tell of the work that the cases of replacement ask for in the winter or summer that it is on the farm.

    Of a season that is over nothing is told: the cases are known as they stand now.
    """
    if line.season is None or line.season < asked.now.season:
        return
    _, tasks = in_order(line.work)
    due, overdue = sum(task[1] for task in tasks), sum(task[2] for task in tasks)
    if not due:
        return
    listed = ", ".join(f"{SAYS[task].name.lower()} {count}" for task, count, _ in tasks)
    late = f" {overdue} of them overdue." if overdue else ""
    yield Notice(
        CORDONS_DUE,
        NOW if overdue else SOON,
        line,
        f"This {asked.now.part}, season {asked.now.season}, replacements under way ask for {counted(due, 'task')}: "
        f"{listed}.{late}",
        "Take the worklist to the block: it says which vines, and why, and adds the cordons that the farm's thresholds "
        "propose.",
        f"cordon-worklist?block={line.head.id}&season={asked.now.season}&part_of_year={asked.now.part}",
        (("tasks_due", due, "tasks"), ("tasks_overdue", overdue, "tasks")),
        overdue * 1_000_000 + due,
    )


def doubtful_weights(line: Line, asked: Asked) -> Iterator[Notice]:  # noqa: ARG001 - every rule is asked alike
    """Tell of weights of zero, far outside the rest, without the scale's step, or without a formula."""
    row = line.row
    if row is None:
        return
    checks = (
        (
            ZERO_WEIGHTS,
            row.zero_weights,
            "weight of zero",
            "weights of zero",
            "Zero means nothing to cut. If it was not weighed, correct the record and leave the weight out.",
        ),
        (
            FAR_OUT_WEIGHTS,
            row.far_out_weights,
            "weight far outside the rest of the block",
            "weights far outside the rest of the block",
            "Look at the record and its unit; correct it, or keep it if it is true.",
        ),
        (
            WITHOUT_SCALE_STEP,
            row.without_resolution,
            "weight without the scale's smallest step",
            "weights without the scale's smallest step",
            "Say the scale's smallest step with each weight, so that counts are judged by what it can tell.",
        ),
        (
            WITHOUT_FORMULA,
            row.without_formula,
            "weight for which no formula answers",
            "weights for which no formula answers",
            "Choose a pruning formula for the block or the farm, or name the cultivar.",
        ),
    )
    for code, many, one, several, todo in checks:
        if many:
            yield Notice(
                code,
                SOON if code in {ZERO_WEIGHTS, FAR_OUT_WEIGHTS, WITHOUT_FORMULA} else LATER,
                line,
                f"{counted(many, one, several)} of {counted(row.weighed, 'vine')} weighed.",
                todo,
                f"blocks/{line.head.id}/targets?season={line.season}",
                (("vines", many, "vines"), ("weighed", row.weighed, "vines")),
                many,
            )
