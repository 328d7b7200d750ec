"""Fields of the trade: quantities with their unit, and names from the catalogues."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.db import models
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.fields import empty

from records.access import OpenFarm
from records.api.strict import StrictDecimalField, StrictSerializer
from records.models import BalanceRange, Cultivar, CultivarGroup, PruningFormula
from records.services.own_catalogue import named, shared, usable_by
from records.units import SUFFIX, Quantity, UnitError, canonical_code, to_canonical


class QuantitySerializer(StrictSerializer):
    """A measured quantity as sent: a number and its UCUM unit."""

    value = StrictDecimalField(max_digits=27, decimal_places=12, help_text="The number, as read.")
    unit = serializers.CharField(
        max_length=20,
        help_text="UCUM code such as kg, g, [lb_av], [oz_av], m, [ft_i]; lb, oz and ft are understood.",
    )

    def __init__(self, *args: Any, dimension: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.dimension = dimension

    def to_internal_value(self, data: Any) -> Any:
        members = super().to_internal_value(data)
        try:
            quantity = Quantity(members["value"], canonical_code(members["unit"]))
            to_canonical(quantity, self.dimension)
        except UnitError as error:
            raise serializers.ValidationError({error.member: [str(error)]}, code=error.code) from error
        return quantity

    def to_representation(self, instance: Any) -> Any:
        return {"value": instance.value, "unit": instance.unit}


class MassIn(QuantitySerializer):
    """A mass as sent."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, dimension="mass", **kwargs)


class LengthIn(QuantitySerializer):
    """A length as sent."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, dimension="length", **kwargs)


class AreaIn(QuantitySerializer):
    """An area as sent."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, dimension="area", **kwargs)


class MassOut(serializers.Serializer[Any]):
    """A mass as it was sent, beside the exact kilograms."""

    value = serializers.DecimalField(max_digits=15, decimal_places=12, help_text="As sent.")
    unit = serializers.CharField(help_text="UCUM code, as sent.")
    kg = serializers.DecimalField(max_digits=30, decimal_places=24, help_text="The same in kilograms.")


class LengthOut(serializers.Serializer[Any]):
    """A length as it was sent, beside the exact metres."""

    value = serializers.DecimalField(max_digits=15, decimal_places=12, help_text="As sent.")
    unit = serializers.CharField(help_text="UCUM code, as sent.")
    m = serializers.DecimalField(max_digits=30, decimal_places=24, help_text="The same in metres.")


class AreaOut(serializers.Serializer[Any]):
    """An area as it was sent, beside the exact square metres."""

    value = serializers.DecimalField(max_digits=15, decimal_places=12, help_text="As sent.")
    unit = serializers.CharField(help_text="UCUM code, as sent.")
    m2 = serializers.DecimalField(max_digits=36, decimal_places=24, help_text="The same in square metres.")


def quantity_of(row: models.Model, name: str, dimension: str) -> dict[str, Decimal | str] | None:
    """Give the three columns of a quantity as one member, or nothing where it was not measured."""
    canonical = SUFFIX[dimension]
    value = getattr(row, f"{name}_value")
    if value is None:
        return None
    return {
        "value": value.normalize(),
        "unit": getattr(row, f"{name}_unit"),
        canonical: getattr(row, f"{name}_{canonical}").normalize(),
    }


class CatalogueField(serializers.SlugRelatedField[Any]):
    """A row of a shared catalogue, by its code."""

    default_error_messages = {
        "does_not_exist": "The catalogue has no {slug_name} {value!r}. The list of codes is at /api/v1/{listed}.",
        "invalid": "Send the code as text.",
    }

    def __init__(self, queryset: models.QuerySet[Any], listed: str, **kwargs: Any) -> None:
        self.rows = queryset
        self.listed = listed
        super().__init__(slug_field="code", queryset=queryset, **kwargs)

    def run_validation(self, data: Any = empty) -> Any:
        if data == "":  # no code, and not null either
            self.fail("does_not_exist", slug_name="code", value=data, listed=self.listed)
        return super().run_validation(data)

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, str):
            self.fail("invalid")
        found = self.rows.filter(code=data).order_by().first()
        if found is None:
            self.fail("does_not_exist", slug_name="code", value=data[:80], listed=self.listed)
        return found


def cultivar_field(**kwargs: Any) -> CatalogueField:
    """Give a field that names a cultivar."""
    return CatalogueField(Cultivar.objects.all(), "cultivars", **kwargs)


def cultivar_group_field(**kwargs: Any) -> CatalogueField:
    """Give a field that names a group of cultivars."""
    return CatalogueField(CultivarGroup.objects.all(), "cultivar-groups", **kwargs)


class VersionField(CatalogueField):
    """A formula or range by its code: its newest version, unless ``code@version`` names another.

    Where a farm is open (``opened`` in the serializer's context), what it and its program added may be named as well,
    and nothing of anybody else; elsewhere only what is shared.
    """

    default_error_messages = {
        "does_not_exist": "The catalogue has no {slug_name} {value!r}. The list of codes is at /api/v1/{listed}; what "
        "a farm may use beside them is at /api/v1/farms/{{farm}}/{listed}.",
    }

    def __init__(self, model: type[PruningFormula] | type[BalanceRange], listed: str, **kwargs: Any) -> None:
        super().__init__(model._default_manager.all(), listed, **kwargs)  # noqa: SLF001 - Django's own name for it
        self.model: Any = model

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, str):
            self.fail("invalid")
        opened: OpenFarm | None = self.context.get("opened")
        found = named(usable_by(self.model, opened.farm) if opened else shared(self.model), data)
        if found is None:
            self.fail("does_not_exist", slug_name="code", value=data[:80], listed=self.listed)
        return found


class FormulaField(VersionField):
    """A pruning formula by its code."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(PruningFormula, "formulas", **kwargs)


class RangeField(VersionField):
    """A range by its code."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(BalanceRange, "ranges", **kwargs)


@extend_schema_field(OpenApiTypes.STR)
class FormulaNamed(serializers.Field[PruningFormula, Any, str, PruningFormula]):
    """A pruning formula in an answer: its code and version."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(read_only=True, allow_null=True, **kwargs)

    def to_representation(self, value: PruningFormula) -> str:
        return f"{value.code}@{value.formula_version}"
