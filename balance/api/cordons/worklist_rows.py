"""How a worklist reads: each task as a row of JSON or CSV, and what the parts of it take."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

from rest_framework import serializers

from balance.advice import CAUTIONS
from balance.cordons.models import Scope, Step
from balance.cordons.worklist import ORDERS, Effort, Work, Worklist, effort_by, effort_of
from balance.formulas.cordons.reminders import PARTS_OF_YEAR, SAYS, TASKS
from records.exporting.cells import line_of

EXAMPLE: Final[dict[str, Any]] = {
    "season": 2027,
    "part_of_year": "winter",
    "months": "November 2026 to April 2027",
    "order": "walking",
    "count": 1,
    "vines": 1,
    "hours": 0.1,
    "without_minutes": 0,
    "without_a_vine": 0,
    "without_proposals": "",
    "by_task": [
        {
            "task": "unwrap",
            "name": "Unwrap",
            "sentence": "Unwrap the arm that was laid down a winter ago: left wrapped, it girdles.",
            "source": "Oregon State Univ., How to renew a grapevine cordon (READ)",
            "count": 1,
            "vines": 1,
            "hours": 0.1,
            "without_minutes": 0,
        }
    ],
    "by_block": [
        {
            "block": "01991b5e-0000-7000-8000-0000000b10c1",
            "block_name": "Lower Terrace (invented)",
            "count": 1,
            "vines": 1,
            "hours": 0.1,
            "without_minutes": 0,
        }
    ],
    "by_row": [],
    "results": [
        {
            "task": "unwrap",
            "block": "01991b5e-0000-7000-8000-0000000b10c1",
            "block_name": "Lower Terrace (invented)",
            "row_number": 3,
            "place": 7,
            "vine": "01991b5e-0000-7000-8000-00000000b1e7",
            "label": "",
            "case": "01991b5e-0000-7000-8000-00000000ca5e",
            "scope": "cordon",
            "cordon": "left",
            "step": "laid_down",
            "step_on": "2026-02-03",
            "due_season": 2027,
            "overdue": 0,
            "minutes": 6,
            "reason": "left cordon: the candidate was laid down on 2026-02-03 (share of blank cordon)",
            "inspection": None,
        }
    ],
    "cautions": list(CAUTIONS),
}


class WorkOut(serializers.Serializer[Any]):
    """One task on one vine."""

    task = serializers.ChoiceField(choices=TASKS)
    block = serializers.UUIDField()
    block_name = serializers.CharField()
    row_number = serializers.IntegerField()
    place = serializers.IntegerField()
    vine = serializers.UUIDField()
    label = serializers.CharField()  # type: ignore[assignment]
    case = serializers.UUIDField(
        allow_null=True, help_text="The case that asks for it; null: the farm's thresholds propose one."
    )
    scope = serializers.ChoiceField(choices=Scope.choices)
    cordon = serializers.CharField(help_text="Empty: the whole vine.")
    step = serializers.ChoiceField(choices=Step.choices, allow_null=True)
    step_on = serializers.DateField(allow_null=True)
    due_season = serializers.IntegerField(help_text="The first season in whose winter or summer it was to be done.")
    overdue = serializers.IntegerField(help_text="Seasons gone by since: the urgency.")
    minutes = serializers.FloatField(allow_null=True, help_text="What the farm says it takes; null: not said.")
    reason = serializers.CharField(
        help_text="What stands, since when and why; of a proposal, what was measured and the farm's threshold."
    )
    inspection = serializers.UUIDField(allow_null=True, help_text="Of a proposal, the inspection that shows it.")


class EffortOut(serializers.Serializer[Any]):
    """How much work it is."""

    count = serializers.IntegerField(help_text="Tasks.")
    vines = serializers.IntegerField(help_text="Vines that the work is on.")
    hours = serializers.FloatField(allow_null=True, help_text="Where the farm said how long tasks take [h].")
    without_minutes = serializers.IntegerField(help_text="Tasks for which it did not.")


class ReminderOut(EffortOut):
    """One kind of task: what to do, who says so, and how much of it there is."""

    task = serializers.ChoiceField(choices=TASKS)
    name = serializers.CharField()
    sentence = serializers.CharField(help_text="What to do.")
    source = serializers.CharField()  # type: ignore[assignment]


class EffortOfABlock(EffortOut):
    """The work on one block."""

    block = serializers.UUIDField()
    block_name = serializers.CharField()


class EffortOfARow(EffortOut):
    """The work on one row."""

    row_number = serializers.IntegerField()


class WorklistOut(EffortOut):
    """The work of one winter or summer."""

    season = serializers.IntegerField()
    part_of_year = serializers.ChoiceField(choices=PARTS_OF_YEAR)
    months = serializers.CharField(help_text="Which months these are on the farm.")
    order = serializers.ChoiceField(choices=ORDERS)
    without_a_vine = serializers.IntegerField(
        help_text="Cases that ask for nothing because their vine is missing or was replanted since; give them up."
    )
    without_proposals = serializers.CharField(
        help_text="Why what the farm's thresholds propose is not in the list; empty where it is."
    )
    by_task = ReminderOut(many=True, help_text="The reminders of the season.")
    by_block = EffortOfABlock(many=True)
    by_row = EffortOfARow(many=True, help_text="Of the block asked for; empty for a whole farm.")
    results = WorkOut(many=True)
    cautions = serializers.ListField(child=serializers.CharField())


def body_of(listed: Worklist, *, rows: bool) -> dict[str, Any]:
    """Give the list with its sums; by row only where it is of one block."""
    works = listed.works
    return {
        **_effort(effort_of(works)),
        "without_a_vine": listed.without_a_vine,
        "without_proposals": listed.without_proposals,
        "by_task": reminders(works),
        "by_block": [
            {"block": str(block), "block_name": name, **_effort(effort)}
            for (name, block), effort in effort_by(works, lambda work: (work.case.block_name, work.case.block_id))
        ],
        "by_row": [
            {"row_number": number, **_effort(effort)}
            for number, effort in effort_by(works if rows else (), lambda work: work.case.row_number)
        ],
        "results": [shown(work) for work in works],
        "cautions": CAUTIONS,
    }


def reminders(works: Iterable[Work]) -> list[dict[str, Any]]:
    """Give what is asked for by kind of task, with what to do and who says so."""
    told = []
    for number, effort in effort_by(works, lambda work: TASKS.index(work.task.code)):
        task = TASKS[number]
        said = SAYS[task]
        told.append(
            {"task": task, "name": said.name, "sentence": said.sentence, "source": said.source, **_effort(effort)}
        )
    return told


def _effort(effort: Effort) -> dict[str, Any]:
    return {
        "count": effort.count,
        "vines": effort.vines,
        "hours": effort.hours,
        "without_minutes": effort.without_minutes,
    }


def shown(work: Work) -> dict[str, Any]:
    """Give one task as the answer shows it; plainly, because a block may have thousands."""
    case = work.case
    return {
        "task": work.task.code,
        "block": str(case.block_id),
        "block_name": case.block_name,
        "row_number": case.row_number,
        "place": case.place,
        "vine": str(case.vine_id),
        "label": case.label,
        "case": None if case.id is None else str(case.id),
        "scope": case.scope,
        "cordon": case.cordon,
        "step": case.step or None,
        "step_on": case.step_on.isoformat() if case.step else None,
        "due_season": work.task.due_season,
        "overdue": work.task.overdue,
        "minutes": work.minutes,
        "reason": f"{work.reason}; {work.late}" if work.late else work.reason,
        "inspection": None if work.inspection_id is None else str(work.inspection_id),
    }


#: What a person in the row needs, in the order in which they need it, and whether it is a number.
_COLUMNS: Final = {
    "block_name": False,
    "row_number": True,
    "place": True,
    "label": False,
    "cordon": False,
    "task": False,
    "overdue": True,
    "minutes": True,
    "reason": False,
    "sentence": False,
    "source": False,
    "case": False,
}


def as_csv(works: Iterable[Work]) -> str:
    """Write the list as CSV, with nothing that a spreadsheet takes for a formula."""
    lines = [line_of((name, False) for name in _COLUMNS)]
    for work in works:
        said = SAYS[work.task.code]
        row = {**shown(work), "sentence": said.sentence, "source": said.source}
        cells = ((None if row[name] is None else str(row[name]), number) for name, number in _COLUMNS.items())
        lines.append(line_of(cells))
    return "\ufeff" + "".join(lines)
