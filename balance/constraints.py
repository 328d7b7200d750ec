"""What each constraint of the told targets says when somebody meets it; see ``records.constraints``."""

from __future__ import annotations

from typing import Final

from records.constraints import Said

CONSTRAINTS: Final[dict[str, Said]] = {
    "pruning_target_once_as_it_was_told": (
        "already_recorded",
        (),
        "This target was told already.",
    ),
    "pruning_target_status_known": ("unknown_status", (), "The status is not one that the service knows."),
    "pruning_target_number_exactly_when_ok": (
        "no_number",
        (),
        "A target has a number exactly when it is ok.",
    ),
    "pruning_target_dormant_record_of_the_same_farm": (
        "no_such_record",
        ("dormant_record",),
        "The record is not among this farm's.",
    ),
}
