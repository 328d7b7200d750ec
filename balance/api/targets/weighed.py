"""A weight of prunings as it is sent with a question that stores nothing."""

from __future__ import annotations

from rest_framework import serializers

from balance.formulas.targets.explanation import SentWeight
from records.api.fields import MassIn
from records.api.strict import StrictSerializer
from records.units import Quantity, to_canonical


class OfAWeighing(StrictSerializer):
    """A question about the prunings of one vine."""

    pruning_weight = MassIn(help_text="One-year-old wood cut from the vine, 0 to 50 kg.")

    def validate_pruning_weight(self, weight: Quantity) -> Quantity:
        if not 0 <= to_canonical(weight, "mass") <= 50:
            raise serializers.ValidationError(
                "The prunings of one vine weigh between 0 and 50 kg. Check the unit.", code="out_of_range"
            )
        return weight


def weight_sent(quantity: Quantity | None) -> SentWeight | None:
    """Give a mass as the formulas take it: as sent, and exactly in kilograms."""
    return SentWeight(quantity.value, quantity.unit, to_canonical(quantity, "mass")) if quantity else None
