"""The outcome of a verdict, as it is shown."""

from __future__ import annotations

from typing import Final

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from balance.formulas.targets.retained_counts import TOO_FEW, TOO_MANY, WITHIN

OUTCOMES: Final = (WITHIN, TOO_MANY, TOO_FEW)


@extend_schema_field({"type": ["string", "null"], "enum": [*OUTCOMES, None]})
class OutcomeOut(serializers.CharField):
    """The outcome of a verdict; null where there is nothing to judge."""
