"""Which vine a line is about: by the place that it says, by the label that it bears, or by its order in the row.

Order alone is good once: a vine that is gone from the next winter's file would move every weight after it to the
neighbour.  So a place that was only counted never outweighs a label, and a doubt is named instead of guessed away.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Final

from records.imports.checking import Finding
from records.imports.planning import PlannedVine

LAST_PLACE: Final = 9_999
Place = tuple[int, int]


@dataclass(frozen=True)
class Standing:
    """A vine of the block: one that stands there, or one that this file plants."""

    vine_id: uuid.UUID
    row_number: int
    place: int
    label: str = ""
    rootstock: str = ""
    new: bool = False


@dataclass
class Ground:
    """The vines of a block as far as a chunk of lines needs them, and how a new one gets its id."""

    new_id: Callable[[int, int], uuid.UUID]
    by_place: dict[Place, Standing] = field(default_factory=dict)
    by_label: dict[str, Standing] = field(default_factory=dict)
    may_plant: bool = True

    def add(self, vines: Iterable[Standing]) -> None:
        for vine in vines:
            self.by_place[vine.row_number, vine.place] = vine
            if vine.label:
                self.by_label[vine.label] = vine

    def plant(self, planned: PlannedVine, place: int) -> Standing:
        """Give a new vine for a line, at a place of its row that is free."""
        row_number = planned.row_number or 0
        vine = Standing(
            self.new_id(row_number, place), row_number, place, planned.label, planned.rootstock, new=True
        )  # fmt: skip
        self.add([vine])
        return vine

    def planted(self) -> list[Standing]:
        return [vine for vine in self.by_place.values() if vine.new]


@dataclass(frozen=True)
class Located:
    """The vine that a line is about, if that is clear, and what is doubtful about it."""

    vine: Standing | None
    findings: tuple[Finding, ...] = ()


def locate(planned: PlannedVine, ground: Ground) -> Located:
    """Give the vine that a line is about, planting one where none stands; no vine where the line leaves it open."""
    if planned.row_number is None or planned.place is None:
        return Located(None)
    labelled = ground.by_label.get(planned.label) if planned.label else None
    if labelled and not _agrees(planned, labelled):
        return Located(None, (_elsewhere(planned, labelled),))
    if labelled:
        return Located(labelled, _of_rootstock(planned, labelled))
    there = ground.by_place.get((planned.row_number, planned.place))
    if there is None:
        return _planted(planned, planned.place, ground)
    return _counted(planned, there, ground) if planned.place_counted else _named(planned, there)


def _agrees(planned: PlannedVine, labelled: Standing) -> bool:
    same_place = planned.place_counted or planned.place == labelled.place
    return planned.row_number == labelled.row_number and same_place


def _named(planned: PlannedVine, there: Standing) -> Located:
    findings = _of_rootstock(planned, there)
    if planned.label and planned.label != there.label:
        known = f"is labelled {there.label!r}" if there.label else "has no label"
        reason = f"the vine at this place {known} on record, which stands; it was taken by its place"
        findings = (planned.finding("label", "differs_from_record", reason), *findings)
    return Located(there, findings)


def _counted(planned: PlannedVine, there: Standing, ground: Ground) -> Located:
    """Take the vine that the count comes to only where no label speaks against it."""
    if planned.label == there.label:
        return Located(there, _of_rootstock(planned, there))
    if not planned.label:
        reason = (
            f"in the order of the file this is the vine labelled {there.label!r}, but the line bears no label; "
            "write the label, or give the place in a column"
        )
        return Located(None, (planned.finding("label", "label_missing", reason),))
    if not there.label:
        reason = "no vine has this label on record; it was taken by its order in the row"
        finding = planned.finding("label", "label_not_on_record", reason)
        return Located(there, (finding, *_of_rootstock(planned, there)))
    return _next_free(planned, there, ground)


def _next_free(planned: PlannedVine, there: Standing, ground: Ground) -> Located:
    row_number = planned.row_number or 0
    free = next((p for p in range(there.place + 1, LAST_PLACE + 1) if (row_number, p) not in ground.by_place), None)
    stands = f"its place in the order of the file is that of vine {there.label!r}"
    if free is None:
        return Located(None, (planned.finding("label", "row_full", f"{stands}, and no place after it is free"),))
    reason = f"{stands}; it was stored at place {free}, the next that is free"
    return _planted(planned, free, ground, planned.finding("label", "place_taken", reason))


def _planted(planned: PlannedVine, place: int, ground: Ground, *findings: Finding) -> Located:
    """Plant a vine for a line, where whoever sent the file may; a worker measures vines and plants none."""
    if ground.may_plant:
        return Located(ground.plant(planned, place), findings)
    reason = (
        f"no such vine stands at row {planned.row_number}, place {place}, and to plant one takes the right 'manage'; "
        "let whoever manages the farm plant it, or send the file"
    )
    return Located(None, (planned.finding("place", "vine_unknown", reason),))


def _of_rootstock(planned: PlannedVine, vine: Standing) -> tuple[Finding, ...]:
    if not planned.rootstock or not vine.rootstock or planned.rootstock == vine.rootstock:
        return ()
    reason = f"the vine is on {vine.rootstock!r} on record, which stands; correct it there if need be"
    return (planned.finding("rootstock", "differs_from_record", reason),)


def _elsewhere(planned: PlannedVine, labelled: Standing) -> Finding:
    reason = (
        f"the vine of this label stands at row {labelled.row_number}, place {labelled.place}, and this line says "
        "otherwise; say which is right"
    )
    return planned.finding("label", "label_elsewhere", reason)
