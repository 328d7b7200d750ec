"""How a pruner's guesses are shown against the scale, and what they are worth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from decimal import Decimal
from typing import Any, Final

from rest_framework import serializers

from balance.api.figures import FigureOut, InputOut, MethodOut, WorkingOut, figure, given
from balance.formulas.guesses.calibration import LEANINGS, Agreement, Differences, agreement_of
from balance.formulas.guesses.calibration_steps import calibration_steps, needed_sentence, trust_sentence
from balance.formulas.guesses.eye_trust import (
    BIAS_WITHIN,
    SPREAD_WITHIN,
    TRUST,
    VERDICTS,
    PairsNeeded,
    Trust,
    pairs_needed,
    trust_in,
)
from records.units import from_canonical

NO_TOLERANCE: Final = "No tolerance was stated: say how far off a guess may be."
#: Shown to so many decimals: what lies behind them is noise of binary numbers.
_DECIMALS: Final = 9


@dataclass(frozen=True)
class Tolerance:
    """How far off a guess may be, as it was stated and as it is reckoned with.

    ``value`` and ``unit`` are as stated; ``nodes`` have unit ``1``.  One of ``kg`` and ``percent`` is set.
    """

    name: str
    value: Decimal
    unit: str
    kg: float | None = None
    percent: float | None = None


class EndsOut(serializers.Serializer[Any]):
    """Both ends of an interval or of limits; null where there are too few pairs."""

    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)


class AgreementOut(serializers.Serializer[Any]):
    """How guesses agree with the scale: above zero they are too heavy."""

    pairs = serializers.IntegerField()
    bias = FigureOut(help_text="Mean of guess − weight.")
    bias_interval = EndsOut()
    spread = FigureOut(help_text="Standard deviation of guess − weight.")
    spread_interval = EndsOut()
    limits = EndsOut(help_text="Limits of agreement: about 95 % of guesses lie between them.")
    limits_at_most = EndsOut(help_text="How far out they may lie.")
    limits_at_least = EndsOut(help_text="How far in they may lie.")


class TrustOut(serializers.Serializer[Any]):
    """Whether the eye can stand in for the scale within the tolerance that was stated."""

    method = MethodOut()
    tolerance = FigureOut(help_text="In the unit in which it is held against the guesses.")
    trust = serializers.ChoiceField(choices=VERDICTS, allow_null=True, help_text="Null: no tolerance, or too few.")
    told_at = serializers.IntegerField(
        allow_null=True, help_text="Weighings at which it can be told if bias and spread stay as they are."
    )
    more = serializers.IntegerField(allow_null=True, help_text="How many more weighings that is.")
    once_corrected = serializers.BooleanField(help_text="Whether allowing for the bias would make the eye trusted.")
    sentence = serializers.CharField()


class PairsNeededOut(serializers.Serializer[Any]):
    """How many weighings make bias and spread known closely; null where more than 10,000."""

    bias_within = FigureOut(help_text="Half the tolerance: ours.")
    for_bias = serializers.IntegerField(allow_null=True)
    spread_within_percent = serializers.FloatField(help_text="Of the spread itself [%]: ours.")
    for_spread = serializers.IntegerField(allow_null=True)
    formula = serializers.CharField()
    sentence = serializers.CharField()


class CalibrationOut(serializers.Serializer[Any]):
    """What one pruner's guesses say."""

    inputs = InputOut(many=True)
    in_weight = AgreementOut(help_text="Guess − weight, in the unit of the answer.")
    in_percent = AgreementOut(help_text="Guess − weight in percent of each weight; a weight of zero is left out.")
    relative_bias = FigureOut(help_text="100 × bias ÷ mean weight [%].")
    leaning = serializers.ChoiceField(choices=LEANINGS, allow_null=True, help_text="Whether the bias is above chance.")
    trust = TrustOut()
    needed = PairsNeededOut(allow_null=True, help_text="Null: no tolerance, or fewer than three pairs.")
    steps = WorkingOut(many=True)


def calibration_shown(
    differences: Differences, percent: Differences, tolerance: Tolerance | None, unit: str
) -> dict[str, Any]:
    """Give what guesses say; weights are reckoned in kilograms and shown in ``unit``."""
    in_kg, in_percent = agreement_of(differences), agreement_of(percent)
    in_one = float(from_canonical(Decimal(1), unit))  # a kilogram in the unit
    shown = in_kg.in_unit(in_one)
    inputs, steps = [given("pairs", differences.n)], calibration_steps(shown, unit)
    if tolerance is not None:
        inputs.append(given(tolerance.name, tolerance.value, tolerance.unit))
        steps += calibration_steps(in_percent, "%") if tolerance.kg is None else []
    return {
        "inputs": inputs,
        "in_weight": _agreement(shown, unit),
        "in_percent": _agreement(in_percent, "%"),
        "relative_bias": figure(_rounded(in_kg.relative_bias), "%", reason=_why_no_relative(in_kg)),
        "leaning": in_kg.leaning,
        **_trusted(tolerance, (in_kg, in_percent), unit, in_one),
        "steps": [{**asdict(step), "value": _rounded(step.value)} for step in steps],
    }


def _agreement(agreement: Agreement, unit: str) -> dict[str, Any]:
    def ends(name: str) -> dict[str, Any]:
        return {end: _rounded(getattr(agreement, f"{name}{end}")) for end in ("low", "high")}

    return {
        "pairs": agreement.pairs,
        "bias": figure(_rounded(agreement.bias), unit, reason=agreement.reason),
        "bias_interval": ends("bias_"),
        "spread": figure(_rounded(agreement.spread), unit, reason=agreement.reason),
        "spread_interval": ends("spread_"),
        "limits": ends(""),
        "limits_at_most": _limits(agreement, agreement.outer),
        "limits_at_least": _limits(agreement, agreement.inner),
    }


def _limits(agreement: Agreement, factor: float | None) -> dict[str, Any]:
    if agreement.bias is None or agreement.spread is None or factor is None:
        return {"low": None, "high": None}
    out = factor * agreement.spread
    return {"low": _rounded(agreement.bias - out), "high": _rounded(agreement.bias + out)}


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, _DECIMALS)


def _why_no_relative(agreement: Agreement) -> str | None:
    if agreement.relative_bias is not None:
        return None
    return agreement.reason or "The weights are all zero, so the bias is no share of them."


def _trusted(
    tolerance: Tolerance | None, agreements: tuple[Agreement, Agreement], unit: str, in_one: float
) -> Mapping[str, Any]:
    """Judge the eye in the scale of the tolerance: in kilograms, shown in the unit, or in percent."""
    if tolerance is None:
        return {"trust": _trust(None, None, unit, NO_TOLERANCE), "needed": None}
    in_kg, in_percent = agreements
    if tolerance.kg is not None:
        trust, agreement, shown_in, factor = trust_in(in_kg, tolerance.kg), in_kg, unit, in_one
    else:
        trust, agreement, shown_in, factor = trust_in(in_percent, tolerance.percent or 0), in_percent, "%", 1.0
    as_shown = Trust(**{**asdict(trust), "tolerance": trust.tolerance * factor})
    sentence = trust_sentence(as_shown, agreement.in_unit(factor), shown_in)
    needed = None
    if agreement.spread is not None:
        asked = pairs_needed(agreement.spread, BIAS_WITHIN * trust.tolerance, SPREAD_WITHIN)
        needed = _needed(asked, agreement.pairs, factor, shown_in)
    return {"trust": _trust(as_shown, as_shown.tolerance, shown_in, sentence), "needed": needed}


def _trust(trust: Trust | None, tolerance: float | None, unit: str, sentence: str) -> dict[str, Any]:
    return {
        "method": asdict(TRUST),
        "tolerance": figure(_rounded(tolerance), unit, reason=NO_TOLERANCE if tolerance is None else None),
        "trust": trust.verdict if trust else None,
        "told_at": trust.settled_at if trust else None,
        "more": trust.more if trust else None,
        "once_corrected": trust.once_corrected if trust else False,
        "sentence": sentence,
    }


def _needed(needed: PairsNeeded, pairs: int, factor: float, unit: str) -> dict[str, Any]:
    shown = PairsNeeded(**{**asdict(needed), "bias_within": needed.bias_within * factor})
    return {
        "bias_within": figure(_rounded(shown.bias_within), unit),
        "for_bias": shown.for_bias,
        "spread_within_percent": 100 * shown.spread_within,
        "for_spread": shown.for_spread,
        "formula": "smallest n with t × spread ÷ √n ≤ the wanted half width, and with √((n − 1) ÷ χ²) ≤ 1 + the share",
        "sentence": needed_sentence(shown, pairs, unit),
    }
