"""What each constraint of the told targets says when somebody meets it; see ``records.constraints``."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from records.constraints import Said

_WHOLE: Final = "A quantity has a value and a unit."


def _of_a_candidate(table: str) -> Iterator[tuple[str, Said]]:
    """Give the sentences of the rules that a candidate keeps."""
    place = "candidate"
    yield f"{table}_candidate_springs_from_known", ("unknown_place", (place,), "The place is not one that is known.")
    yield f"{table}_candidate_ripeness_known", ("unknown_ripeness", (place,), "The ripeness is not one that is known.")
    yield f"{table}_candidate_diameter_whole", ("incomplete_quantity", (place,), _WHOLE)
    yield f"{table}_candidate_length_whole", ("incomplete_quantity", (place,), _WHOLE)
    yield f"{table}_candidate_diameter_0_to_100_mm", ("out_of_range", (place,), "A diameter is at most 100 mm.")
    yield f"{table}_candidate_length_0_to_20_m", ("out_of_range", (place,), "A length is at most 20 m.")
    yield (
        f"{table}_nodes_laid_down_0_to_200",
        ("out_of_range", ("nodes_laid_down",), "At most 200 nodes are laid down."),
    )
    yield f"{table}_wraps_0_to_20", ("out_of_range", ("wraps",), "At most 20 turns are taken round the wire.")


CONSTRAINTS: Final[dict[str, Said]] = {
    "pruning_target_once_as_it_was_told": (
        "already_recorded",
        (),
        "This target was told already.",
    ),
    "block_season_block_of_the_same_farm": ("unknown_block", ("block",), "No such block of this farm."),
    "block_season_once": ("already_recorded", (), "The season of this block is summed up already."),
    "block_season_1899_to_2100": ("out_of_range", (), "A season is a calendar year from 1899 to 2100."),
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
    "cordon_case_scope_known": ("unknown_scope", ("scope",), "The scope is not one that the service knows."),
    "cordon_case_step_known": ("unknown_step", ("step",), "The step is not one that the service knows."),
    "cordon_case_cordon_known": ("unknown_cordon", ("cordon",), "The cordon is not one that the service knows."),
    "cordon_case_names_its_cordon": (
        "scope_mismatch",
        ("cordon",),
        "Name the cordon for a cordon or a part of one, and none for the whole vine.",
    ),
    "cordon_case_reasons_known": ("unknown_reason", ("reasons",), "A reason is not one that the service knows."),
    "cordon_case_not_before_it_was_noticed": (
        "out_of_range",
        ("happened_on",),
        "A step is not taken before the case was noticed.",
    ),
    "cordon_case_one_open_a_cordon": ("already_recorded", ("cordon",), "The cordon has an open case already."),
    "cordon_case_vine_of_the_same_farm": ("no_such_vine", ("vine",), "The vine is not among this farm's."),
    "cordon_step_step_known": ("unknown_step", ("step",), "The step is not one that the service knows."),
    "cordon_step_once_a_number": ("already_recorded", ("step",), "The case has this step already."),
    "cordon_step_season_1900_to_2100": ("out_of_range", ("happened_on",), "A season lies between 1900 and 2100."),
    "cordon_step_cordon_case_of_the_same_farm": ("no_such_case", ("case",), "The case is not among this farm's."),
    "cordon_step_cordon_inspection_of_the_same_farm": (
        "no_such_record",
        ("inspection",),
        "The inspection is not among this farm's.",
    ),
    "cordon_settings_once_a_block": ("already_recorded", ("block",), "There are settings for this already."),
    "cordon_settings_blank_share_1_to_100": ("out_of_range", ("blank_share",), "A share lies between 1 and 100 %."),
    "cordon_settings_blank_length_0_to_100_m": (
        "out_of_range",
        ("blank_length",),
        "A length lies between 0 and 100 m.",
    ),
    "cordon_settings_dieback_length_0_to_100_m": (
        "out_of_range",
        ("dieback_length",),
        "A length lies between 0 and 100 m.",
    ),
    "cordon_settings_fewest_positions_1_to_500": (
        "out_of_range",
        ("fewest_living_positions",),
        "Positions lie between 1 and 500.",
    ),
    "cordon_settings_years_in_decline_1_to_20": (
        "out_of_range",
        ("years_in_decline",),
        "Years lie between 1 and 20.",
    ),
    "cordon_settings_blank_length_whole": ("incomplete_quantity", ("blank_length",), _WHOLE),
    "cordon_settings_dieback_length_whole": ("incomplete_quantity", ("dieback_length",), _WHOLE),
    "cordon_settings_block_of_the_same_farm": ("no_such_block", ("block",), "The block is not among this farm's."),
    "benchmark_snapshot_state_known": ("unknown_state", (), "The state is not one that the service knows."),
    "benchmark_snapshot_season_1900_to_2100": ("out_of_range", ("season",), "A season lies between 1900 and 2100."),
    "benchmark_snapshot_numbered": ("already_recorded", (), "The season has a snapshot of this number."),
    "benchmark_snapshot_made_as_a_whole": ("incomplete", (), "A snapshot is made as a whole."),
    "benchmark_cell_once": ("already_recorded", (), "The snapshot tells this figure once."),
    "benchmark_cell_told_as_a_whole": ("incomplete", (), "A figure is told, or withheld for a reason."),
    "benchmark_part_consent_of_the_same_farm": (
        "another_farms_consent",
        (),
        "The consent is one of the farm that is counted.",
    ),
    "benchmark_part_once": ("already_recorded", (), "A farm brings what it has to a snapshot once."),
    "program_report_units_known": ("unknown_units", ("units",), "The units are metric or us."),
    "program_report_state_known": ("unknown_state", (), "The state is not one that the service knows."),
    "program_report_season_1900_to_2100": ("out_of_range", ("season",), "A season lies between 1900 and 2100."),
    "program_report_schedule_once_a_program": ("already_recorded", (), "The program has a schedule."),
    "program_report_schedule_units_known": ("unknown_units", ("units",), "The units are metric or us."),
    "program_report_schedule_hemisphere_known": ("unknown_hemisphere", ("hemisphere",), "It is north or south."),
    "program_report_schedule_month_1_to_12": ("out_of_range", ("month",), "A month lies between 1 and 12."),
    "program_report_schedule_day_1_to_28": ("out_of_range", ("day",), "A day lies between 1 and 28."),
    "program_report_file_form_known": ("unknown_form", (), "The form is not one that the service knows."),
    "program_report_file_once_a_form": ("already_recorded", (), "The attempt wrote this form already."),
    "report_units_known": ("unknown_units", ("units",), "The units are metric or us."),
    "report_season_1900_to_2100": ("out_of_range", ("season",), "A season lies between 1900 and 2100."),
    "report_made_as_a_whole": ("incomplete", (), "A report is made as a whole or not at all."),
    "report_job_of_the_same_farm": ("no_such_job", (), "The job is not among this farm's."),
    "report_file_form_known": ("unknown_form", (), "The form is not one that the service knows."),
    "report_file_once_a_form": ("already_recorded", (), "The attempt wrote this form already."),
    "report_file_report_of_the_same_farm": ("no_such_report", (), "The report is not among this farm's."),
    "report_formula_once": ("already_recorded", (), "The report names this formula already."),
    "report_formula_report_of_the_same_farm": ("no_such_report", (), "The report is not among this farm's."),
    "report_schedule_once_a_person": ("already_recorded", (), "You have a schedule for this farm already."),
    "report_schedule_units_known": ("unknown_units", ("units",), "The units are metric or us."),
    "report_schedule_month_1_to_12": ("out_of_range", ("month",), "A month lies between 1 and 12."),
    "report_schedule_day_1_to_28": ("out_of_range", ("day",), "A day lies between 1 and 28, so every month has it."),
    "report_schedule_job_of_the_same_farm": ("no_such_job", (), "The job is not among this farm's."),
    "webhook_endpoint_events_known": ("unknown_event", ("events",), "An event is not one that the service knows."),
    "webhook_delivery_event_known": ("unknown_event", (), "The event is not one that the service knows."),
    "webhook_delivery_state_known": ("unknown_state", (), "The state is not one that the service knows."),
    "webhook_delivery_once_an_event": ("already_recorded", (), "The endpoint is told of this already."),
    "webhook_delivery_webhook_endpoint_of_the_same_farm": (
        "no_such_endpoint",
        (),
        "The endpoint is not among this farm's.",
    ),
    **dict(_of_a_candidate("cordon_case")),
    **dict(_of_a_candidate("cordon_step")),
}
