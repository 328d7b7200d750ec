"""From an injury to what is shown of it: adjusted targets, crop potential, sampling."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from typing import Any, Final

from rest_framework.serializers import Serializer

from balance.api.buds.bud_adjustments import band_shown
from balance.api.buds.bud_answers import BudAdviceOut, FruitfulnessOut
from balance.api.figures import figure
from balance.buds.likeness import FEWEST_ASKED, nodes_needed, sentence_of_sampling
from balance.buds.published import SamplingAdvice, SecondaryFruitfulness, published_fruitfulness, sampling_advice
from balance.formulas.buds.adjusted_targets import AdjustedTarget, FactorRange, adjust_target, factors_over
from balance.formulas.buds.bud_adjustments import Adjustment, judge_injury
from balance.formulas.buds.bud_explanation import (
    MORE_THAN_A_VINE_HAS,
    UNPRUNED_BUDS,
    adjustment_steps,
    potential_steps,
    why_no_number,
)
from balance.formulas.buds.bud_injury import POTENTIAL, crop_potential
from balance.formulas.counting import counted
from balance.formulas.proportions import Share

#: Shown to so many decimals: what lies behind them is noise of binary numbers.
_DECIMALS: Final = 6
NO_NORMAL_TARGET: Final = "No normal target is known, so only the factor is given. Send normal_target."
CAP: Final = (
    "A maximum of nodes that the farm or a formula sets is for vines without injury; no adjusted target is held to it. "
    "An adjusted target counts all nodes, dead and alive."
)
_OFF: Final = (
    "What a secondary bud bears belongs to the cultivar and is disputed, so it counts for nothing unless you set "
    "secondary_fruitfulness."
)
_NO_SECONDARIES: Final = "No living secondary buds were counted together with the primaries. Send secondary_alive."
_OPEN: Final = (
    "The counts do not say at how many nodes a living secondary stands beside a dead primary: the potential lies "
    "between low and high. Count those nodes by themselves to know."
)


def injury_shown(injury: Share | None, reason: str | None = None) -> dict[str, Any]:
    """Give an injury and its interval as the API shows them."""
    return {
        "injury": figure(injury.percent if injury else None, "%", reason=reason),
        "interval": injury
        and {
            "low": round(injury.low_percent, _DECIMALS),
            "high": round(injury.high_percent, _DECIMALS),
            "margin": round(injury.margin_percent, _DECIMALS),
            "confidence": injury.confidence,
        },
        "nodes_examined": injury.of if injury else 0,
        "primaries_dead": injury.count if injury else 0,
    }


def adjusted_shown(
    adjustment: Adjustment, injury: Share, normal: float | None, *, why_no_target: str = NO_NORMAL_TARGET
) -> dict[str, Any]:
    """Give what one method makes of an injury, with a target where a normal one is known."""
    judged = judge_injury(adjustment, injury.percent)
    target = adjust_target(adjustment, injury, normal) if normal is not None else None
    reason = why_no_number(adjustment, judged, injury.percent)
    return {
        "method": asdict(adjustment.method_by(judged.bands[0]) if judged.bands else adjustment.method),
        "says": judged.status,
        "bands": [band_shown(band) for band in judged.bands],
        "factor": _rounded(judged.factor),
        "target": figure(target.nodes if target else None, "1", reason=reason or (None if target else why_no_target)),
        "target_unrounded": target.unrounded if target else None,
        "over_interval": _over(factors_over(adjustment, injury), target),
        "steps": [asdict(step) for step in adjustment_steps(target)] if target else [],
        "caution": MORE_THAN_A_VINE_HAS if target and (target.nodes or 0) >= UNPRUNED_BUDS else None,
    }


def _rounded(factor: float | None) -> float | None:
    return None if factor is None else round(factor, _DECIMALS)


def _over(factors: FactorRange, target: AdjustedTarget | None) -> dict[str, Any]:
    return {
        "factor_low": _rounded(factors.low),
        "factor_high": _rounded(factors.high),
        "nodes_low": target.low if target else None,
        "nodes_high": target.high if target else None,
        "whole": factors.whole,
        "without_number": list(factors.statuses),
    }


def potential_shown(
    counts: tuple[int, int, int] | None, fruitfulness: float | None, cultivar: str | None
) -> dict[str, Any]:
    """Give the crop potential of nodes examined, primaries and secondaries alive; off where no fruitfulness is set."""
    shown: dict[str, Any] = {
        "method": asdict(POTENTIAL),
        "secondary_fruitfulness": fruitfulness,
        "low": None,
        "high": None,
        "steps": [],
        "published": [_members_of(FruitfulnessOut, row) for row in published_fruitfulness(cultivar)],
    }
    if fruitfulness is None:
        return {**shown, "potential": figure(None, "%", reason=_OFF)}
    if counts is None:
        return {**shown, "potential": figure(None, "%", reason=_NO_SECONDARIES)}
    found = crop_potential(*counts, fruitfulness)
    return {
        **shown,
        "potential": figure(found.percent, "%", reason=_OPEN if found.percent is None else None),
        "low": found.low_percent,
        "high": found.high_percent,
        "steps": [asdict(step) for step in potential_steps(counts[0], counts[1], fruitfulness, found)],
    }


def sampling_shown(injury: Share | None, wanted: float) -> dict[str, Any]:
    """Give how many nodes a wanted margin takes, and what the sources say of sampling."""
    needed = nodes_needed(injury, wanted)
    return {
        "wanted_margin": wanted,
        "nodes_needed": needed,
        "sentence": sentence_of_sampling(injury, wanted, needed),
        "advice": [_members_of(BudAdviceOut, row) for row in sampling_advice()],
    }


def _members_of(shape: type[Serializer[Any]], row: SamplingAdvice | SecondaryFruitfulness) -> dict[str, Any]:
    """Give of a row of a catalogue the members that are shown; its mark has a shorter name there."""
    members = {**asdict(row), "mark": row.source_mark}
    return {name: members[name] for name in map(str, shape().fields)}


def cautions_on(injury: Share | None) -> Iterable[str]:
    """Give the cautions of this computation alone."""
    if injury is not None and injury.of < FEWEST_ASKED:
        examined = counted(injury.of, "node was examined", "nodes were examined")
        yield f"{examined}; the sources ask for 50 to 100 from each block or part of it."
    yield CAP
