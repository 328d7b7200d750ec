"""What each constraint of the records says when a caller meets it, whichever code path came to it.

Constraint name → (problem code, place in the body, sentence).  ``tests/records/test_walls.py`` walks
the database's catalogue and fails on a constraint that is not here.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from records.kinds import KINDS, Kind
from records.kinds.members import STAGE_SAYS, Choice, Count, Measured, Member, Number, Several, Stage
from records.kinds.naming import plain, range_name

Said = tuple[str, tuple[str, ...], str]

_WHOLE = "Value, unit and converted value belong together: send a quantity with both value and unit."
_FARM = "The row that this one names is not among this farm's."
_OF_A_CATALOGUE_WITH_OWNERS: Final[dict[str, Said]] = {
    "once_a_version_of_its_owner": ("already_recorded", ("code",), "This version is there already. Add the next one."),
    "named_for_its_owner": (
        "wrong_code",
        ("code",),
        "A code of a farm's own begins with 'own-', a program's with 'program-', and no shared one does.",
    ),
    "of_a_farm": ("no_such_farm", (), _FARM),
}

CONSTRAINTS: Final[dict[str, Said]] = {
    "api_key_scopes_are_known": ("unknown_scope", ("scopes",), "A scope is one of read, record, manage."),
    "api_key_has_a_scope": ("no_scope", ("scopes",), "A key needs at least one scope."),
    "farm_hemisphere_north_or_south": (
        "unknown_hemisphere",
        ("hemisphere",),
        "A hemisphere is north or south.",
    ),
    "farm_has_a_name": ("no_name", ("name",), "A farm needs a name."),
    "membership_one_role_a_person": (
        "already_recorded",
        ("person",),
        "The person has a role on this farm already.",
    ),
    "api_key_former_secret_ends": ("incomplete", (), "A former secret and its end belong together."),
    "membership_role_known": ("unknown_role", ("role",), "A role is one of owner, worker, viewer."),
    "consent_purpose_known": (
        "unknown_purpose",
        ("purpose",),
        "A purpose is one of advice, records, summaries, benchmarks.",
    ),
    "consent_to_an_adviser_or_a_program": (
        "wrong_recipient",
        ("purpose",),
        "Consent for advice names an adviser, consent for any other purpose a program.",
    ),
    "consent_rights_fit_the_purpose": (
        "wrong_rights",
        ("rights",),
        "Advice takes the rights read, or read and record; a program reads for the purpose records alone.",
    ),
    "consent_ends_after_it_begins": ("out_of_range", ("until",), "A consent ends after it begins."),
    "consent_withdrawn_by_somebody": ("incomplete", (), "A withdrawal names who withdrew."),
    "visit_consent_of_the_same_farm": ("no_such_consent", (), _FARM),
    "program_membership_once_a_person": (
        "already_recorded",
        ("person",),
        "The person is in the program already.",
    ),
    "block_name_once_a_farm": ("already_recorded", ("name",), "The farm has a block of this name already."),
    "block_has_a_name": ("no_name", ("name",), "A block needs a name."),
    "block_row_spacing_whole": ("incomplete_quantity", ("row_spacing",), _WHOLE),
    "block_vine_spacing_whole": ("incomplete_quantity", ("vine_spacing",), _WHOLE),
    "block_row_spacing_0_5_to_12_m": (
        "out_of_range",
        ("row_spacing",),
        "Row spacing lies between 0.5 and 12 m.",
    ),
    "block_vine_spacing_0_3_to_12_m": (
        "out_of_range",
        ("vine_spacing",),
        "Vine spacing lies between 0.3 and 12 m.",
    ),
    "block_declared_area_whole": ("incomplete_quantity", ("declared_area",), _WHOLE),
    "block_declared_area_1_m2_to_10000_ha": (
        "out_of_range",
        ("declared_area",),
        "The area of a block lies between 1 m2 and 10,000 ha. Check the number and the unit.",
    ),
    "block_boundary_with_its_area": ("incomplete", ("boundary",), "A boundary and its area belong together."),
    "block_computed_area_1_m2_to_10000_ha": (
        "out_of_range",
        ("boundary",),
        "The boundary of a block encloses between 1 m2 and 10,000 ha. Check the positions: longitude comes first.",
    ),
    "block_year_planted_1700_to_2100": (
        "out_of_range",
        ("year_planted",),
        "A year planted is between 1700 and 2100.",
    ),
    "block_maximum_nodes_1_to_1000": (
        "out_of_range",
        ("maximum_nodes",),
        "A cap lies between 1 and 1000 nodes.",
    ),
    "block_minimum_nodes_1_to_1000": (
        "out_of_range",
        ("minimum_nodes",),
        "The fewest nodes lie between 1 and 1000.",
    ),
    "block_minimum_nodes_below_maximum": (
        "out_of_range",
        ("minimum_nodes",),
        "The fewest nodes may not exceed the cap.",
    ),
    "block_use_known": ("unknown_use", ("use",), "The use is not one that the service knows."),
    "block_canopies_1_to_4": ("out_of_range", ("canopies",), "A row carries between 1 and 4 curtains of leaves."),
    "block_training_known": (
        "unknown_training",
        ("training",),
        "The training is not one that the service knows.",
    ),
    "block_shelter_known": ("unknown_shelter", ("shelter",), "A block is open_field or high_tunnel."),
    "row_number_once_a_block": (
        "already_recorded",
        ("number",),
        "The block has a row of this number already.",
    ),
    "row_number_1_to_9999": ("out_of_range", ("number",), "A row number lies between 1 and 9999."),
    "row_block_of_the_same_farm": ("no_such_block", ("block",), _FARM),
    "vine_place_once_a_row": (
        "already_recorded",
        ("place",),
        "There is a vine at this place in the row already.",
    ),
    "vine_label_once_a_block": (
        "already_recorded",
        ("label",),
        "The block has a vine with this label already.",
    ),
    "vine_place_1_to_9999": ("out_of_range", ("place",), "A place lies between 1 and 9999."),
    "vine_year_planted_1700_to_2100": (
        "out_of_range",
        ("year_planted",),
        "A year planted is between 1700 and 2100.",
    ),
    "vine_row_of_the_same_farm": ("no_such_row", ("row_number",), _FARM),
    "dormant_record_once_a_live_vine_and_season": (
        "already_recorded",
        ("vine",),
        "This vine has a dormant record for this season already.",
    ),
    "dormant_record_pruning_weight_whole": ("incomplete_quantity", ("pruning_weight",), _WHOLE),
    "dormant_record_scale_resolution_whole": ("incomplete_quantity", ("scale_resolution",), _WHOLE),
    "dormant_record_guessed_weight_whole": ("incomplete_quantity", ("guessed_weight",), _WHOLE),
    "dormant_record_pruning_weight_0_to_50_kg": (
        "out_of_range",
        ("pruning_weight",),
        "The prunings of one vine weigh between 0 and 50 kg. Check the unit: was it pounds, kilograms or grams?",
    ),
    "dormant_record_scale_resolution_up_to_5_kg": (
        "out_of_range",
        ("scale_resolution",),
        "A scale's smallest step is more than 0 and at most 5 kg.",
    ),
    "dormant_record_guessed_weight_0_to_50_kg": (
        "out_of_range",
        ("guessed_weight",),
        "The guess for one vine lies between 0 and 50 kg.",
    ),
    "dormant_record_margin_0_to_500_nodes": (
        "out_of_range",
        ("rough_prune_margin_nodes",),
        "The margin lies between 0 and 500 nodes.",
    ),
    "dormant_record_nodes_retained_0_to_2000": (
        "out_of_range",
        ("nodes_retained",),
        "The count of nodes left lies between 0 and 2000.",
    ),
    "dormant_record_season_1900_to_2100": (
        "out_of_range",
        ("season",),
        "A season lies between 1900 and 2100.",
    ),
    "dormant_record_offset_within_a_day": (
        "out_of_range",
        ("observed_at",),
        "The offset is less than a day.",
    ),
    "dormant_record_observed_with_offset": (
        "offset_missing",
        ("observed_at",),
        "A time needs its offset from UTC.",
    ),
    "dormant_record_observed_unless_imported": (
        "required",
        ("observed_at",),
        "Say when the vine was weighed.",
    ),
    "dormant_record_scale_known": ("unknown_scale", ("scale",), "A scale is spring, digital or not_stated."),
    "dormant_record_source_known": (
        "unknown_source",
        ("source",),
        "The way in is not one that the service knows.",
    ),
    "dormant_record_vine_of_the_same_farm": ("no_such_vine", ("vine",), _FARM),
    "dormant_record_import_of_the_same_farm": ("no_such_import", (), _FARM),
    "export_job_of_the_same_farm": ("no_such_job", (), _FARM),
    "export_part_export_of_the_same_farm": ("no_such_export", (), _FARM),
    "export_part_once_a_number": ("already_recorded", (), "The part of the file was written already."),
    "erasure_one_line_a_farm": ("already_recorded", (), "The farm was erased already."),
    "import_existing_known": (
        "unknown_word",
        ("existing",),
        "What exists is treated by one of complete, keep and update.",
    ),
    "import_of_vines_says_the_season": ("required", ("season",), "A file of vines needs its season."),
    "import_job_of_the_same_farm": ("no_such_job", (), _FARM),
    "import_block_of_the_same_farm": ("no_such_block", ("block",), _FARM),
    "import_row_once_a_line": ("already_recorded", (), "The line was taken in already."),
    "import_row_outcome_known": ("unknown_outcome", (), "The outcome is not one that the service knows."),
    "import_row_import_of_the_same_farm": ("no_such_import", (), _FARM),
    "kept_answer_once_a_request": ("already_recorded", (), "The key is in use."),
    "kept_answer_of_a_success": ("unknown_outcome", (), "Only the answer of a success is kept."),
    "job_state_known": ("unknown_state", (), "The state is not one that the service knows."),
    "job_ticket_one_a_job": ("already_recorded", (), "The job is queued already."),
    **{
        f"{table}_{rule}": said
        for table in ("pruning_formula", "balance_range")
        for rule, said in _OF_A_CATALOGUE_WITH_OWNERS.items()
    },
    "pruning_formula_kind_known": ("unknown_kind", ("kind",), "The kind is not one that the service knows."),
    "pruning_formula_numbers_of_its_kind": (
        "incomplete",
        ("first_nodes",),
        "Nodes per unit have no first nodes; a fixed number has no further nodes.",
    ),
    "pruning_formula_lowest_units_sensible": (
        "out_of_range",
        ("lowest_units",),
        "A formula holds from between 0 and 1000 units of weight on.",
    ),
    "pruning_formula_highest_units_sensible": (
        "out_of_range",
        ("highest_units",),
        "A formula holds up to between 0 and 1000 units of weight.",
    ),
    "pruning_formula_lowest_below_highest_units": (
        "out_of_range",
        ("lowest_units",),
        "A formula must hold from fewer units of weight than up to.",
    ),
    "pruning_formula_only_shared_ones_answer_unasked": (
        "not_allowed",
        ("is_default",),
        "Only a shared formula answers unasked: name your own on the farm, the block or the vine.",
    ),
    "balance_range_measure_known": ("unknown_measure", ("measure",), "The measure is not one that the service knows."),
    "balance_range_canopy_known": ("unknown_canopy", ("canopy",), "A canopy is single or divided."),
    "balance_range_use_known": ("unknown_use", ("use",), "The use is not one that the service knows."),
    "balance_range_source_mark_known": ("unknown_mark", ("source_mark",), "The mark of the source is not known."),
    "balance_range_has_a_limit": ("incomplete", ("low",), "A range has at least one limit."),
    "balance_range_low_below_high": ("out_of_range", ("low",), "The lower limit exceeds the upper."),
    "balance_range_default_says_for_whom": (
        "incomplete",
        ("cultivar",),
        "Only a shared range of a cultivar or group holds unless another was chosen.",
    ),
    "range_choice_once_a_block_and_measure": (
        "already_recorded",
        ("measure",),
        "A range was chosen already for this measure. Remove that choice first.",
    ),
    "range_choice_measure_known": ("unknown_measure", ("measure",), "The measure is not one that the service knows."),
    "range_choice_block_of_the_same_farm": ("no_such_block", ("block",), _FARM),
    "pruning_formula_one_default_a_cultivar": (
        "already_recorded",
        ("cultivar",),
        "The cultivar has a default already.",
    ),
    "pruning_formula_one_default_a_group": (
        "already_recorded",
        ("group",),
        "The group has a default already.",
    ),
    "pruning_formula_first_nodes_sensible": (
        "out_of_range",
        ("first_nodes",),
        "A lies between 0 and 500 nodes.",
    ),
    "pruning_formula_further_nodes_sensible": (
        "out_of_range",
        ("further_nodes",),
        "B lies between 0 and 500 nodes.",
    ),
    "pruning_formula_unit_positive": (
        "out_of_range",
        ("weight_unit",),
        "One unit of weight is between 1 g and 100 kg.",
    ),
    "pruning_formula_minimum_below_maximum": (
        "out_of_range",
        ("minimum_nodes",),
        "The minimum exceeds the maximum.",
    ),
    "pruning_formula_source_mark_known": (
        "unknown_mark",
        ("source_mark",),
        "The mark of the source is not known.",
    ),
}


def _of_a_kind(kind: Kind) -> Iterator[tuple[str, Said]]:
    """Give the sentences of the rules that every record keeps, and of those of a kind's members."""
    table = kind.name
    yield f"{table}_season_1900_to_2100", ("out_of_range", ("season",), "A season lies between 1900 and 2100.")
    yield f"{table}_offset_within_a_day", ("out_of_range", ("observed_at",), "The offset is less than a day.")
    yield f"{table}_observed_with_offset", ("offset_missing", ("observed_at",), "A time needs its offset from UTC.")
    yield f"{table}_observed_unless_imported", ("required", ("observed_at",), "Say when it was seen.")
    yield f"{table}_source_known", ("unknown_source", ("source",), "The way in is not one that the service knows.")
    yield f"{table}_vine_of_the_same_farm", ("no_such_vine", ("vine",), _FARM)
    yield f"{table}_block_of_the_same_farm", ("no_such_block", ("block",), _FARM)
    yield f"{table}_import_of_the_same_farm", ("no_such_import", (), _FARM)
    for member in kind.members:
        yield from _of_a_member(table, member)


def _of_a_member(table: str, member: Member) -> Iterator[tuple[str, Said]]:
    where, name = (member.name,), f"{table}_{member.name}"
    if isinstance(member, Measured):
        yield f"{name}_whole", ("incomplete_quantity", where, _WHOLE)
    if isinstance(member, Count | Number | Measured):
        unit = f" {member.unit}" if isinstance(member, Measured) else ""
        bounds = f"It lies between {plain(member.low)} and {plain(member.high)}{unit}."
        yield range_name(table, member), ("out_of_range", where, bounds)
    if isinstance(member, Choice | Several):
        yield f"{name}_known", ("unknown_word", where, f"Known are: {', '.join(member.words)}.")
    if isinstance(member, Stage):
        yield f"{name}_whole", ("incomplete_stage", where, "A growth stage is a scale and its code, both together.")
        yield f"{name}_scale_known", ("unknown_word", where, f"Scales are: {', '.join(STAGE_SAYS)}.")
        for scale, sentence in STAGE_SAYS.items():
            yield f"{name}_code_of_{scale}", ("unknown_stage", where, f"{sentence}.")


_ACROSS_MEMBERS: Final[dict[str, Said]] = {
    "bud_sample_alive_are_of_those_examined": (
        "more_than_examined",
        ("nodes_examined",),
        "No more nodes can have a living bud than were examined.",
    ),
    "bud_sample_first_node_before_the_last": (
        "turned_round",
        ("first_node",),
        "The first node stands nearer to the base than the last.",
    ),
    "shoot_count_once_a_live_vine_and_season": (
        "already_recorded",
        ("vine",),
        "This vine has a shoot count for this season already.",
    ),
    "cluster_count_once_a_live_vine_and_season": (
        "already_recorded",
        ("vine",),
        "This vine has a cluster count for this season already.",
    ),
    "cluster_count_thinning_leaves_no_more": (
        "more_than_before",
        ("clusters_after_thinning",),
        "Thinning cannot leave more clusters than there were.",
    ),
    "cluster_count_lag_phase_weight_with_its_clusters": (
        "required",
        ("lag_phase_clusters",),
        "Say how many clusters were weighed, or the weight says nothing.",
    ),
    "harvest_record_once_a_live_vine_and_picking": (
        "already_recorded",
        ("picking",),
        "This vine has a record of this picking already; a second picking has picking 2.",
    ),
    "harvest_record_once_a_live_block_and_picking": (
        "already_recorded",
        ("picking",),
        "This block has a record of this picking already; a second picking has picking 2.",
    ),
    "harvest_record_vine_exactly_for_a_vine": (
        "scope_mismatch",
        ("scope",),
        "With scope vine the vine must be named; with sample or block it must not.",
    ),
    "harvest_record_sample_says_its_vines": (
        "required",
        ("vines_picked",),
        "Say how many vines the sample was picked from.",
    ),
    "harvest_record_marketable_no_more_than_all": (
        "more_than_all",
        ("marketable_yield",),
        "What could be sold cannot weigh more than all that was picked.",
    ),
    "harvest_record_acidity_with_its_acid": (
        "required",
        ("reference_acid",),
        "Say which acid the titratable acidity is given as.",
    ),
    "cordon_inspection_blank_within_the_cordon": (
        "longer_than_cordon",
        ("blank_length",),
        "The blank length cannot exceed the cordon's.",
    ),
    "cordon_inspection_dieback_within_the_cordon": (
        "longer_than_cordon",
        ("dieback_length",),
        "The dead length cannot exceed the cordon's.",
    ),
    "cordon_inspection_measures_a_candidate_that_is_there": (
        "nothing_to_measure",
        ("candidate_springs_from",),
        "Where no candidate was found there is nothing to measure.",
    ),
    "feed_epoch_is_one_row": ("unknown_state", (), "There is one epoch."),
}

#: What stands above by hand says more than what follows from the kinds.
for _kind in KINDS.values():
    CONSTRAINTS.update({name: said for name, said in _of_a_kind(_kind) if name not in CONSTRAINTS})
CONSTRAINTS.update(_ACROSS_MEMBERS)
