"""What is kept of the replacement of a cordon: the case, each of its steps, and what the farm set for its own."""

from __future__ import annotations

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import Q

from balance.formulas.cordons.replacement_steps import CLOSED, STEPS
from records.kinds.definitions import CORDONS
from records.models import ApiKey, Block, CordonInspection, Person, Vine
from records.models.base import FarmOwned, between, one_of, together


class Scope(models.TextChoices):
    """How much of the vine is to be replaced."""

    PART_OF_CORDON = "part_of_cordon", "part of a cordon"
    CORDON = "cordon", "one cordon"
    VINE = "vine", "the whole vine, from the trunk"


class Step(models.TextChoices):
    """Where a replacement stands; see ``balance.formulas.cordons.replacement_steps`` for what may follow what."""

    NOTICED = "noticed", "noticed"
    CANDIDATE_CHOSEN = "candidate_chosen", "a candidate shoot is chosen"
    LAID_DOWN = "laid_down", "the candidate is laid down"
    FILLING = "filling", "the new arm fills its place"
    BEARING = "bearing", "the new arm bears"
    FAILED = "failed", "the attempt failed"
    GIVEN_UP = "given_up", "given up"


class Reason(models.TextChoices):
    """Why a cordon is to be replaced."""

    SEEN = "seen", "somebody saw it"
    BLANK_SHARE = "blank_share", "share of blank cordon"
    BLANK_LENGTH = "blank_length", "length of blank cordon"
    FEW_POSITIONS = "few_positions", "few living spur positions"
    DIEBACK = "dieback", "length dead from the end"
    YEARS_IN_DECLINE = "years_in_decline", "years in which it became worse"
    MORE_THAN_ONE_CORDON = "more_than_one_cordon", "more than one cordon of the vine"


SPRINGS_FROM = ("head", "cordon_base", "trunk", "below_head", "below_graft_union")
RIPENESS = ("well_ripened", "partly_ripened", "poorly_ripened")


class Candidate(models.Model):
    """Base of what is known of the shoot that is to take the cordon's place."""

    candidate_springs_from = models.CharField(max_length=20, blank=True, help_text="Empty: not said.")
    candidate_diameter_value = models.DecimalField(max_digits=27, decimal_places=12, null=True, blank=True)
    candidate_diameter_unit = models.CharField(max_length=20, null=True, blank=True)
    candidate_diameter_m = models.DecimalField(max_digits=30, decimal_places=24, null=True, blank=True)
    candidate_length_value = models.DecimalField(max_digits=27, decimal_places=12, null=True, blank=True)
    candidate_length_unit = models.CharField(max_length=20, null=True, blank=True)
    candidate_length_m = models.DecimalField(max_digits=30, decimal_places=24, null=True, blank=True)
    candidate_ripeness = models.CharField(max_length=20, blank=True, help_text="Empty: not said.")
    candidate_above_graft_union = models.BooleanField(null=True, blank=True)
    nodes_laid_down = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Nodes of the arm that was laid down."
    )
    wraps = models.PositiveSmallIntegerField(null=True, blank=True, help_text="Turns round the wire.")

    class Meta:
        abstract = True


def rules_of_a_candidate(table: str) -> list[models.BaseConstraint]:
    """Give the constraints that a candidate keeps in its table."""
    name = f"{table}_candidate"
    return [
        one_of(f"{name}_springs_from_known", "candidate_springs_from", ["", *SPRINGS_FROM]),
        one_of(f"{name}_ripeness_known", "candidate_ripeness", ["", *RIPENESS]),
        together(f"{name}_diameter_whole", *(f"candidate_diameter_{part}" for part in ("value", "unit", "m"))),
        together(f"{name}_length_whole", *(f"candidate_length_{part}" for part in ("value", "unit", "m"))),
        between(f"{name}_diameter_0_to_100_mm", "candidate_diameter_m", 0, "0.1"),
        between(f"{name}_length_0_to_20_m", "candidate_length_m", 0, 20),
        between(f"{table}_nodes_laid_down_0_to_200", "nodes_laid_down", 0, 200),
        between(f"{table}_wraps_0_to_20", "wraps", 0, 20),
    ]


class CordonCase(Candidate, FarmOwned):
    """One replacement: a part of a cordon, a cordon or a whole vine that is to be renewed, from when it was noticed.

    Where it stands is its newest step; steps back are steps, too, and nothing is latched.
    """

    vine = models.ForeignKey(Vine, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False)
    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False)
    scope = models.CharField(max_length=20, choices=Scope.choices)
    cordon = models.CharField(max_length=30, blank=True, help_text="Empty: the whole vine.")
    reasons = ArrayField(models.CharField(max_length=30), default=list)
    noticed_on = models.DateField()
    step = models.CharField(max_length=20, choices=Step.choices, default=Step.NOTICED)
    step_number = models.PositiveSmallIntegerField(default=1)
    step_on = models.DateField(help_text="The day of the newest step.")
    step_season = models.PositiveSmallIntegerField(help_text="The harvest year that this day belongs to.")
    laid_down_season = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="The season in which the arm that stands now was laid down."
    )
    note = models.TextField(blank=True, max_length=4000)
    withdrawn_at = models.DateTimeField(null=True, blank=True, help_text="When it was withdrawn as a mistake.")

    class Meta:
        db_table = "cordon_case"
        constraints = [
            *rules_of_a_candidate("cordon_case"),
            one_of("cordon_case_scope_known", "scope", Scope.values),
            one_of("cordon_case_step_known", "step", list(STEPS)),
            one_of("cordon_case_cordon_known", "cordon", ["", *CORDONS]),
            models.CheckConstraint(
                name="cordon_case_names_its_cordon",
                condition=Q(scope="vine", cordon="") | ~Q(scope="vine") & ~Q(cordon=""),
            ),
            models.CheckConstraint(
                name="cordon_case_reasons_known", condition=Q(reasons__contained_by=list(Reason.values))
            ),
            models.CheckConstraint(
                name="cordon_case_not_before_it_was_noticed", condition=Q(step_on__gte=models.F("noticed_on"))
            ),
            models.UniqueConstraint(
                name="cordon_case_one_open_a_cordon",
                fields=["farm", "vine", "cordon"],
                condition=Q(withdrawn_at__isnull=True) & ~Q(step__in=CLOSED),
            ),
        ]
        indexes = [
            models.Index(name="cordon_case_of_a_block", fields=["farm", "block", "step", "id"]),
            models.Index(name="cordon_case_of_a_vine", fields=["farm", "vine", "id"]),
        ]

    def __str__(self) -> str:
        return f"{self.scope} of vine {self.vine_id}: {self.step}"


class CordonStep(Candidate, FarmOwned):
    """One step of a replacement, as somebody took or saw it; never changed, only followed."""

    case = models.ForeignKey(
        CordonCase, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    number = models.PositiveSmallIntegerField(help_text="From 1.")
    step = models.CharField(max_length=20, choices=Step.choices)
    happened_on = models.DateField()
    season = models.PositiveSmallIntegerField(help_text="The harvest year that this day belongs to.")
    inspection = models.ForeignKey(
        CordonInspection,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        db_constraint=False,
        db_index=False,
        help_text="The inspection that shows it.",
    )
    photo_reference = models.CharField(max_length=400, blank=True, help_text="Where the farm keeps a photo.")
    note = models.TextField(blank=True, max_length=4000)
    recorded_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    api_key = models.ForeignKey(
        ApiKey, null=True, blank=True, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    app_name = models.CharField(max_length=80, blank=True)

    class Meta:
        db_table = "cordon_step"
        constraints = [
            *rules_of_a_candidate("cordon_step"),
            one_of("cordon_step_step_known", "step", list(STEPS)),
            models.UniqueConstraint(name="cordon_step_once_a_number", fields=["farm", "case", "number"]),
            between("cordon_step_season_1900_to_2100", "season", 1900, 2100),
        ]

    def __str__(self) -> str:
        return f"{self.number}: {self.step} on {self.happened_on}"


class CordonSettings(FarmOwned):
    """What a farm set for its cordons: from when on one is proposed for replacement, and how long each task takes.

    For one block, or, without a block, for all that have no settings of their own.  What is empty proposes nothing:
    no source prints a share of blank cordon at which to act.
    """

    block = models.ForeignKey(
        Block, null=True, blank=True, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    blank_share_percent = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    blank_length_value = models.DecimalField(max_digits=27, decimal_places=12, null=True, blank=True)
    blank_length_unit = models.CharField(max_length=20, null=True, blank=True)
    blank_length_m = models.DecimalField(max_digits=30, decimal_places=24, null=True, blank=True)
    dieback_length_value = models.DecimalField(max_digits=27, decimal_places=12, null=True, blank=True)
    dieback_length_unit = models.CharField(max_length=20, null=True, blank=True)
    dieback_length_m = models.DecimalField(max_digits=30, decimal_places=24, null=True, blank=True)
    fewest_living_positions = models.PositiveSmallIntegerField(null=True, blank=True)
    years_in_decline = models.PositiveSmallIntegerField(null=True, blank=True)
    minutes_a_task = models.JSONField(default=dict, help_text="Minutes for one vine, by task.")

    class Meta:
        db_table = "cordon_settings"
        constraints = [
            models.UniqueConstraint(
                name="cordon_settings_once_a_block", fields=["farm", "block"], nulls_distinct=False
            ),
            between("cordon_settings_blank_share_1_to_100", "blank_share_percent", 1, 100),
            between("cordon_settings_blank_length_0_to_100_m", "blank_length_m", 0, 100),
            between("cordon_settings_dieback_length_0_to_100_m", "dieback_length_m", 0, 100),
            between("cordon_settings_fewest_positions_1_to_500", "fewest_living_positions", 1, 500),
            between("cordon_settings_years_in_decline_1_to_20", "years_in_decline", 1, 20),
            together(
                "cordon_settings_blank_length_whole", *(f"blank_length_{part}" for part in ("value", "unit", "m"))
            ),
            together(
                "cordon_settings_dieback_length_whole", *(f"dieback_length_{part}" for part in ("value", "unit", "m"))
            ),
        ]

    def __str__(self) -> str:
        return f"cordons of {self.block_id or 'the farm'}"
