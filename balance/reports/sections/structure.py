"""Structure and cordons: blank share, open cases, next winter's work, and the capacity that is lost."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Final

import numpy as np

from balance.cordons.blank_share import BlankCordon
from balance.cordons.capacity import cordons_now
from balance.cordons.capacity_parts import Parts, parts_of
from balance.cordons.models import Step
from balance.cordons.open_cases import OpenCases
from balance.cordons.worklist import effort_by
from balance.formulas.cordons.reminders import SAYS, TASKS
from balance.formulas.counting import counted
from balance.reports.document import Cell, Column, Figure, Section, Table
from balance.reports.facts import SEASONS_SHOWN, Facts
from balance.reports.figures import PERCENT, POINTS, figure
from balance.reports.quantities import Measure

CODE: Final = "structure"
TITLE: Final = "Structure and cordons"
_NOTHING: Final = "No cordon of the block was inspected, and no case of replacement is on record."
_NOT_INSPECTED: Final = "No cordon said both what is blank and what there is in this season."
_NOT_BOTH: Final = "No cordon said it in this season and in the one before."
_NOT_MEASURED: Final = (
    "No cordon was measured: count its living and blank spur positions, or measure its blank length, in an inspection."
)
_CORDONS: Final = Measure("cordons", 1, 0)
_CASES: Final = Measure("cases", 1, 0)
NO_VERDICT: Final = (
    "No source prints a share of blank cordon at which to act: what is blank stands here without a verdict."
)


def section(facts: Facts) -> Section:
    """Compose the section of one block."""
    cases, parts = facts.cases, capacity_of(facts)
    if not (facts.blank_cordon or parts.cordons or cases.count or cases.noticed or facts.work.works):
        return Section(CODE, TITLE, reason=_NOTHING)
    return Section(
        CODE,
        TITLE,
        sentences=tuple(_sentences(facts, cases)),
        figures=(*_blank(facts.blank_cordon.get(facts.season)), *_capacity(parts), *_cases(cases)),
        tables=tuple(_tables(facts, cases)),
    )


def capacity_of(facts: Facts) -> Parts:
    """Give what the block's cordons lack."""
    now = cordons_now(facts.opened, facts.block, facts.season)
    return parts_of(now, np.ones(len(now), dtype=np.bool_))


def _blank(now: BlankCordon | None) -> Iterator[Figure]:
    """Give the blank share by positions and by length, with its change on the cordons that say it in both seasons."""
    ways = (("positions", "by spur positions"), ("length", "by length"))
    for name, says in ways:
        sums = getattr(now, name) if now else None
        share, change = (sums.share, sums.change_in_both) if sums else (None, None)
        yield figure(
            f"blank_share_by_{name}", f"Blank cordon {says}", PERCENT, share, n=sums.cordons if sums else None,
            reason=_NOT_INSPECTED,
        )  # fmt: skip
        yield figure(
            f"change_of_blank_share_by_{name}", f"Change against the season before, {says}, same cordons", POINTS,
            change, n=sums.cordons_in_both if sums else None, reason=_NOT_BOTH,
        )  # fmt: skip


def _capacity(parts: Parts) -> Iterator[Figure]:
    shown = (
        ("capacity_lost", "Fruiting capacity that cordons have lost", parts.lost),
        ("capacity_blank", "Of it, blank", parts.blank),
        ("capacity_dead", "Of it, dead from the end", parts.dead),
        ("capacity_filling", "Of it, not yet filled by young arms", parts.filling),
    )
    for code, title, share in shown:
        value = None if share is None else round(100 * share, 6)
        yield figure(code, title, PERCENT, value, n=parts.measured, reason=_NOT_MEASURED)
    yield figure("cordons", "Cordons on record", _CORDONS, parts.cordons)
    yield figure("cordons_not_measured", "Of these, not known what they lack", _CORDONS, parts.cordons - parts.measured)


def _cases(cases: OpenCases) -> Iterator[Figure]:
    yield figure("open_cases", "Open cases of replacement", _CASES, cases.count)
    yield figure("new_cases", "Cases noticed in this season", _CASES, cases.noticed)


def _tables(facts: Facts, cases: OpenCases) -> Iterator[Table]:
    if facts.blank_cordon:
        yield _blank_table(facts)
    if cases.by_step:
        rows = tuple((str(Step(step).label), many) for step, many in cases.by_step.items())
        yield Table("open_cases", "Open cases by step", (Column("step", "Step"),
                                                         Column("cases", "Cases", number=True)), rows)  # fmt: skip
    if facts.work.works:
        yield _work_table(facts)


def _blank_table(facts: Facts) -> Table:
    share = partial(Column, unit="%", number=True, digits=PERCENT.digits)
    columns = (
        Column("season", "Season", number=True),
        Column("inspected", "Cordons inspected", number=True),
        Column("cordons_by_positions", "Counted", number=True),
        share("by_positions", "Blank by positions"),
        Column("cordons_by_length", "Measured", number=True),
        share("by_length", "Blank by length"),
    )
    rows = tuple(_blank_row(each) for _, each in sorted(facts.blank_cordon.items())[-SEASONS_SHOWN:])
    note = "Each season rests on the cordons that were inspected in it, so seasons may tell of other cordons."
    return Table("blank_cordon", "Blank cordon by season", columns, rows, note=note)


def _blank_row(each: BlankCordon) -> tuple[Cell, ...]:
    positions, length = each.positions, each.length
    return (each.season, each.inspected, positions.cordons, positions.share, length.cordons, length.share)


def _work_table(facts: Facts) -> Table:
    columns = (
        Column("task", "Task"),
        Column("tasks", "Tasks", number=True),
        Column("vines", "Vines", number=True),
        Column("overdue", "Overdue", number=True),
        Column("hours", "Hours", "h", number=True, digits=1),
    )
    works = facts.work.works
    late = {task: sum(work.task.overdue > 0 for work in works if work.task.code == task) for task in TASKS}
    rows = tuple(
        (SAYS[task].name, effort.count, effort.vines, late[task], effort.hours)
        for task, effort in sorted(
            effort_by(works, lambda work: work.task.code), key=lambda each: TASKS.index(each[0])
        )
    )  # fmt: skip
    note = "Hours by the minutes a task that the farm set; without them, none."
    return Table("worklist", f"Work of the winter before the harvest of {facts.season + 1}", columns, rows, note=note)


def _sentences(facts: Facts, cases: OpenCases) -> Iterator[str]:
    if facts.season in facts.blank_cordon:
        yield NO_VERDICT
    if cases.count:
        waiting = ", ".join(f"{Step(step).label} in {many}" for step, many in cases.by_step.items())
        yield f"{counted(cases.count, 'open case')}: {waiting}."
    work = facts.work
    if work.works:
        vines = len({each.case.vine_id for each in work.works})
        late = sum(each.task.overdue > 0 for each in work.works)
        yield f"Next winter: {counted(len(work.works), 'task')} on {counted(vines, 'vine')}, {late} of them overdue."
    if work.without_a_vine:
        yield f"{counted(work.without_a_vine, 'case')} of vines that are gone: close them."
    if work.without_proposals:
        yield work.without_proposals
