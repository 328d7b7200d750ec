"""Samples as sent: clusters counted vine by vine and clusters weighed one by one, or their mean with its error."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final

from rest_framework import serializers

from balance.api.figures import given
from balance.formulas.yields.estimates import Estimate, mean_of
from balance.formulas.yields.lag_phase import CLUSTER_KG
from records.api.fields import MassIn
from records.api.strict import StrictDecimalField, StrictIntegerField, StrictSerializer
from records.errors import NotValid
from records.units import Quantity, UnitError, to_canonical

MOST_CLUSTERS: Final = 5000
_N: Final = "How many the mean is of; without it the standard error is taken as known well."


def _decimal(high: int, text: str) -> StrictDecimalField:
    return StrictDecimalField(
        max_digits=27, decimal_places=12, min_value=0, max_value=high, required=False, help_text=text
    )


class CountsIn(StrictSerializer):
    """Clusters per vine: counts, one a vine, or their mean."""

    counts = serializers.ListField(
        child=StrictIntegerField(min_value=0, max_value=MOST_CLUSTERS),
        min_length=1,
        max_length=5000,
        required=False,
        help_text="Clusters of each vine that was counted. Vines that are missing are left out.",
    )
    mean = _decimal(MOST_CLUSTERS, "Clusters per vine.")
    standard_error = _decimal(MOST_CLUSTERS, "Of the mean; without it there is no interval.")
    n = StrictIntegerField(min_value=2, max_value=1_000_000, required=False, help_text=_N)


class WeighedIn(StrictSerializer):
    """The weight of a cluster: weights, one a cluster, or their mean."""

    weights = serializers.ListField(
        child=MassIn(), min_length=1, max_length=1000, required=False, help_text="Weight of each cluster."
    )
    mean = MassIn(required=False, help_text="Mean weight of one cluster, 0.01 g to 20 kg.")
    standard_error = MassIn(required=False, help_text="Of the mean; without it there is no interval.")
    n = StrictIntegerField(min_value=2, max_value=1_000_000, required=False, help_text=_N)


def counted(sent: Mapping[str, Any], population: int | None, *path: str) -> Estimate:
    """Give the estimate that counts, or their mean, stand for.

    Raises
    ------
    NotValid
        Both or neither were sent, or more vines were counted than there are.
    """
    _one_of(sent, "counts", path)
    if "mean" in sent:
        return _of_mean(float(sent["mean"]), _number(sent.get("standard_error")), sent.get("n"))
    counts = sent["counts"]
    if population is not None and len(counts) > population:
        raise NotValid.at(
            *path,
            "counts",
            code="out_of_range",
            detail=f"Counts of {len(counts):,} were sent, but the vines that bear are {population:,}. Check places and "
            "missing vines.",
        )
    return mean_of(counts, population)


def weighed(sent: Mapping[str, Any], *path: str) -> Estimate:
    """Give the estimate [kg] that weights, or their mean, stand for.

    Raises
    ------
    NotValid
        Both or neither were sent, or a weight is none that a cluster has.
    """
    _one_of(sent, "weights", path)
    if "mean" in sent:
        error = sent.get("standard_error")
        error_kg = None if error is None else kilograms(error, (0, CLUSTER_KG[1]), *path, "standard_error")
        return _of_mean(cluster_kg(sent["mean"], *path, "mean"), error_kg, sent.get("n"))
    return mean_of([cluster_kg(each, *path, "weights", index) for index, each in enumerate(sent["weights"])])


def cluster_kg(quantity: Quantity, *path: str | int) -> float:
    """Give the weight of a cluster [kg], or refuse it."""
    return kilograms(quantity, CLUSTER_KG, *path)


def kilograms(quantity: Quantity, limits: tuple[float, float], *path: str | int) -> float:
    """Give a mass in kilograms, or refuse it.

    Raises
    ------
    NotValid
        It lies outside the limits [kg], or has more digits than any scale shows.
    """
    try:
        exactly = to_canonical(quantity, "mass")
    except UnitError as error:
        raise NotValid.at(*path, code=error.code, detail=str(error)) from error
    if not Decimal(str(limits[0])) <= exactly <= Decimal(str(limits[1])):
        raise NotValid.at(
            *path,
            code="out_of_range",
            detail=f"{quantity} lies outside {limits[0]:g} to {limits[1]:g} kg. Check the unit.",
        )
    return float(exactly)


def shown(
    name: str, sent: Mapping[str, Any] | None, estimate: Estimate | None, unit: str = "1"
) -> list[dict[str, Any]]:
    """Show a sample among the inputs: what was sent of a mean in its unit, or the mean of a list and its length."""
    if sent is None or estimate is None:
        return [given(name, None, unit)]
    if "mean" in sent:
        return [given(f"{name}.{member}", sent[member]) for member in ("mean", "standard_error", "n") if member in sent]
    return [given(f"{name}, mean", estimate.value, unit), given(f"{name}, number", estimate.n)]


def _one_of(sent: Mapping[str, Any], listed: str, path: tuple[str, ...]) -> None:
    if (listed in sent) == ("mean" in sent):
        raise NotValid.at(*path, code="one_of_list_and_mean", detail=f"Send exactly one of {listed} and mean.")
    extra = [name for name in ("standard_error", "n") if listed in sent and name in sent]
    if extra:
        raise NotValid.at(
            *path,
            extra[0],
            code="follows_from_the_list",
            detail=f"{extra[0]} follows from {listed}: leave it out, or send mean instead.",
        )


def _of_mean(mean: float, error: float | None, n: int | None) -> Estimate:
    if error is None:
        return Estimate(mean, None, 0, n)
    return Estimate(mean, error, n - 1, n) if n else Estimate(mean, error)


def _number(value: Decimal | None) -> float | None:
    return None if value is None else float(value)
