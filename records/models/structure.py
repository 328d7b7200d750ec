"""What is written down about the permanent wood and the plant itself, seen anew each time: nothing here is latched."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from records.models.recorded import (
    OfAVine,
    as_sent,
    counted,
    exact,
    places_of_a_record,
    rules_of_a_record,
    rules_of_members,
    unit_sent,
    worded,
    worded_list,
)


def _within(column: str) -> Q:
    unknown = Q(**{f"{column}__isnull": True}) | Q(cordon_length_m__isnull=True)
    return unknown | Q(**{f"{column}__lte": F("cordon_length_m")})


class CordonInspection(OfAVine):
    """One look at one cordon of one vine: what lives on it, what is blank or dead, what could replace it."""

    cordon = models.CharField(max_length=30)
    cordon_length_value = as_sent()
    cordon_length_unit = unit_sent()
    cordon_length_m = exact()
    living_positions = counted()
    blank_positions = counted()
    blank_length_value = as_sent()
    blank_length_unit = unit_sent()
    blank_length_m = exact()
    dieback_length_value = as_sent()
    dieback_length_unit = unit_sent()
    dieback_length_m = exact()
    creep_value = as_sent()
    creep_unit = unit_sent()
    creep_m = exact()
    upright_spurs = counted()
    tie_too_tight = models.BooleanField(null=True, blank=True)
    disease_signs = worded_list()
    over_neighbour_value = as_sent()
    over_neighbour_unit = unit_sent()
    over_neighbour_m = exact()
    candidate_springs_from = worded()
    candidate_diameter_value = as_sent()
    candidate_diameter_unit = unit_sent()
    candidate_diameter_m = exact()
    candidate_from_head_value = as_sent()
    candidate_from_head_unit = unit_sent()
    candidate_from_head_m = exact()
    growth_stage_scale = worded()
    growth_stage_code = worded(4)

    class Meta:
        db_table = "cordon_inspection"
        constraints = [
            *rules_of_a_record("cordon_inspection"),
            *rules_of_members("cordon_inspection"),
            models.CheckConstraint(
                name="cordon_inspection_blank_within_the_cordon", condition=_within("blank_length_m")
            ),
            models.CheckConstraint(
                name="cordon_inspection_dieback_within_the_cordon", condition=_within("dieback_length_m")
            ),
            models.CheckConstraint(
                name="cordon_inspection_measures_a_candidate_that_is_there",
                condition=~Q(candidate_springs_from="none_found")
                | Q(candidate_diameter_m__isnull=True, candidate_from_head_m__isnull=True),
            ),
        ]
        indexes = places_of_a_record("cordon_inspection", "cordon_inspection")

    def __str__(self) -> str:
        return f"{self.cordon} cordon of vine {self.vine_id}, season {self.season}"


class VineEvent(OfAVine):
    """One thing that happened to the plant at one place: planted, found missing, replanted, retrained."""

    event = models.CharField(max_length=12)
    happened_on = models.DateField(null=True, blank=True)
    rootstock = models.CharField(max_length=80, blank=True)
    trained_as = models.CharField(max_length=80, blank=True)

    class Meta:
        db_table = "vine_event"
        constraints = [*rules_of_a_record("vine_event"), *rules_of_members("vine_event")]
        indexes = places_of_a_record("vine_event", "vine_event")

    def __str__(self) -> str:
        return f"{self.event}: vine {self.vine_id}"
