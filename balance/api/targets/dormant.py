"""Dormant records with their targets: the call that a field app makes most."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from balance.api.targets.answers import (
    TARGET_EXAMPLE,
    VERDICT_EXAMPLE,
    TargetOut,
    VerdictOut,
    target_shown,
    verdict_shown,
)
from balance.targets import Answer, told, verdict_on
from records.api.kind_examples import EXAMPLES
from records.api.kind_fields import shown_of
from records.api.records import Says, views_of
from records.kinds.definitions import DORMANT_RECORD
from records.models import DormantRecord

ANSWER_EXAMPLE = {**EXAMPLES[DORMANT_RECORD.name], "target": TARGET_EXAMPLE, "verdict": None}
COUNTED_EXAMPLE = {**ANSWER_EXAMPLE, "nodes_retained": 38, "version": 2, "verdict": VERDICT_EXAMPLE}


class DormantRecordWithTarget(shown_of(DORMANT_RECORD)):  # type: ignore[misc]
    """A dormant record, its target, and the verdict on the count that was left."""

    target = serializers.SerializerMethodField(help_text="What to keep on this vine, and why.")
    verdict = serializers.SerializerMethodField(help_text="Null until nodes_retained is known.")

    _answer: Answer | None = None

    class Meta:
        model = DormantRecord
        fields = [*shown_of(DORMANT_RECORD).Meta.fields, "target", "verdict"]

    @extend_schema_field(TargetOut)
    def get_target(self, record: DormantRecord) -> dict[str, Any]:
        return target_shown(self._told(record))

    @extend_schema_field(VerdictOut(allow_null=True))
    def get_verdict(self, record: DormantRecord) -> dict[str, Any] | None:
        return verdict_shown(verdict_on(record.nodes_retained, self._told(record)))

    def _told(self, record: DormantRecord) -> Answer:
        """Tell once, whichever member of the answer asks first."""
        if self._answer is None:
            self._answer = told(self.context["view"].opened, record)
        return self._answer


ADDRESSES = views_of(
    DORMANT_RECORD,
    Says(
        tag="dormant records",
        created="Post a weighing, get the target",
        created_more="Stores the record of one vine and answers with the target: formula, source, steps, what the "
        "scale is worth. ",
        changed="Post the retained count, or correct a record",
        changed_more="With `nodes_retained` the answer carries the verdict: within tolerance, too many or too few, "
        "and plain slips of arithmetic that give this count.",
        answers=DormantRecordWithTarget,
        answered=ANSWER_EXAMPLE,
        after_change=COUNTED_EXAMPLE,
    ),
)
