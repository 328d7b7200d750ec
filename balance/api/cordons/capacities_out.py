"""How lost fruiting capacity is shown: now, block by block, under a pace of replacement, and the pace that keeps it."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from rest_framework import serializers

from balance.api.figures import ComputedOut, FigureOut, computed, figure, given
from balance.cordons.capacity import GROWN, WAITS, YOUNG, Assumed, CordonsNow, standing_of
from balance.cordons.capacity_parts import parts_of
from balance.formulas.cordons.capacity import CAPACITY, Standing, lost_ahead
from balance.formulas.cordons.forecast import USUAL_CONFIDENCE, Outlook, replacements_ahead
from balance.formulas.cordons.paces import PaceFound, smallest_pace
from balance.formulas.methods import Working
from balance.formulas.targets.explanation import plain

NOT_MEASURED: Final = (
    "No cordon was measured: count its living and blank spur positions, or measure its blank length, in an inspection."
)
NO_START: Final = (
    "Of no grown cordon it is known what it lacks, so there is nothing to start from. Inspect some, and count their "
    "living and blank positions."
)
NO_LIMIT: Final = "No limit was asked about. Send limit_percent; no source prints one, so it is the farm's own."
WHOLE_LOST: Final = "No cordon that waits was measured: each is taken to lack all of itself."
BAND: Final = (
    "Low and high take the ends of the forecast's interval in every winter, so together they hold somewhat more than "
    "it says; how well the blank shares are known is no part of them."
)


class PartsOut(serializers.Serializer[Any]):
    """What is lost, of the cordons that were measured [%]."""

    cordons = serializers.IntegerField(help_text="On record.")
    measured = serializers.IntegerField(help_text="Of these, known what they lack.")
    not_measured = serializers.IntegerField(help_text="Of these, not: they count nowhere in the shares.")
    waiting = serializers.IntegerField(help_text="Cordons with an open case and no arm laid down.")
    young_arms = serializers.IntegerField(help_text="Arms laid down or filling.")
    without_dead_length = serializers.IntegerField(
        help_text="Measured, but not how much is dead: their dead wood counts as blank."
    )
    lost = FigureOut(help_text="All of it: the three parts together.")
    blank = FigureOut(help_text="Positions or length without a living spur, where not dead from the end.")
    dead = FigureOut(help_text="Dead from the end of the cordon.")
    filling = FigureOut(help_text="What young arms do not carry yet.")


class BlockPartsOut(PartsOut):
    """What a block has lost."""

    block = serializers.UUIDField()
    block_name = serializers.CharField()


class LostInWinterOut(serializers.Serializer[Any]):
    """What is lost after one winter under the pace."""

    winter = serializers.IntegerField()
    season = serializers.IntegerField(help_text="The harvest that carries less.")
    lost = FigureOut()
    low = serializers.FloatField(help_text="With as few failures as the forecast's interval holds [%].")
    high = serializers.FloatField(help_text="With as many [%].")
    laid_down = serializers.FloatField(help_text="Arms laid down in this winter; fewer than the pace where fewer wait.")
    failed = serializers.FloatField(help_text="Cordons expected to fail.")
    waiting = serializers.FloatField(help_text="Cordons that wait after it.")


class PathOut(serializers.Serializer[Any]):
    """What is lost winter by winter."""

    pace = serializers.IntegerField(help_text="Arms a winter.")
    reason = serializers.CharField(allow_null=True, help_text="Why there is no path.")
    lost_of_waiting = FigureOut(help_text="What a cordon that waits lacks.")
    lost_of_grown = FigureOut(help_text="What a grown cordon lacks.")
    lost_of_new_arm = FigureOut(help_text="What an arm lacks in its first season.")
    winters = LostInWinterOut(many=True)


class PaceFoundOut(serializers.Serializer[Any]):
    """The smallest pace that keeps what is lost under the limit."""

    limit = FigureOut()
    in_every_winter = FigureOut(help_text="Arms a winter, so that it is kept in every winter asked about.")
    in_the_last_winter = FigureOut(help_text="Arms a winter, so that it is kept in the last one.")


class CordonCapacityOut(ComputedOut):
    """The fruiting capacity that cordons have lost."""

    block = serializers.UUIDField(allow_null=True, help_text="Null: the whole farm.")
    season = serializers.IntegerField(help_text="What was known up to this season.")
    years_to_full = serializers.IntegerField()
    lost_now = PartsOut()
    by_block = BlockPartsOut(many=True)
    path = PathOut()
    smallest_pace = PaceFoundOut()


@dataclass(frozen=True)
class Shown:
    """What an answer is made of."""

    block: uuid.UUID | None
    season: int
    now: CordonsNow
    assumed: Assumed
    outlook: Outlook
    pace: int
    limit_percent: float | None


@dataclass(frozen=True, eq=False)
class _Failing:
    """Shares of the standing cordons that fail in each winter: expected, at least, at most."""

    mean: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]


def capacity_shown(shown: Shown) -> dict[str, Any]:
    """Give the lost capacity as the API shows it."""
    now, standing = shown.now, shown.assumed.standing
    reason = NO_START if standing is None else shown.outlook.reason
    failing = None if reason is not None else _failing(shown.outlook)
    parts = _parts(now, np.ones(len(now), dtype=np.bool_))
    inputs = [
        given("pace", shown.pace),
        given("limit_percent", shown.limit_percent, "%"),
        given("years_to_full", now.years_to_full, "a"),
        given("nodes of a new arm, of a grown cordon's", 100 * now.usual_first_share, "%"),
    ]
    more = [WHOLE_LOST] * shown.assumed.whole_of_waiting + [BAND]
    return {
        **computed(CAPACITY, inputs, list(_steps(parts, shown.outlook)), more=more),
        "block": shown.block,
        "season": shown.season,
        "years_to_full": now.years_to_full,
        "lost_now": parts,
        "by_block": [
            {"block": block.pk, "block_name": block.name, **_parts(now, now.block_codes == code)}
            for code, block in enumerate(now.blocks)
        ],
        "path": _path(shown, standing, failing, reason),
        "smallest_pace": _smallest(shown, standing, failing, reason),
    }


def _failing(outlook: Outlook) -> _Failing:
    stand = outlook.standing.sum()
    means, lows, highs = (
        np.array([getattr(each, name) for each in outlook.by_winter]) / stand for name in ("mean", "low", "high")
    )
    return _Failing(np.clip(means, 0, 1), np.clip(lows, 0, 1), np.clip(highs, 0, 1))


def _percent(share: float | None, reason: str | None = None) -> dict[str, Any]:
    return figure(None if share is None else round(100 * share, 6), "%", reason=None if share is not None else reason)


def _parts(now: CordonsNow, here: NDArray[np.bool_]) -> dict[str, Any]:
    parts = parts_of(now, here)
    return {
        "cordons": parts.cordons,
        "measured": parts.measured,
        "not_measured": parts.cordons - parts.measured,
        "waiting": parts.waiting,
        "young_arms": parts.young_arms,
        "without_dead_length": parts.without_dead_length,
        "lost": _percent(parts.lost, NOT_MEASURED),
        "blank": _percent(parts.blank, NOT_MEASURED),
        "dead": _percent(parts.dead, NOT_MEASURED),
        "filling": _percent(parts.filling, NOT_MEASURED),
    }


def _steps(parts: dict[str, Any], outlook: Outlook) -> Iterator[Working]:
    lost = parts["lost"]["value"]
    if lost is not None:
        blank, dead, filling = (plain(parts[name]["value"]) for name in ("blank", "dead", "filling"))
        yield Working(
            "lost now", "Blank, dead and not yet filled, each the mean over the cordons that were measured.",
            f"{blank} % + {dead} % + {filling} %", lost, "%",
        )  # fmt: skip
    if outlook.by_winter:
        mean, standing = outlook.by_winter[0].mean, int(outlook.standing.sum())
        yield Working(
            "fail in the next winter", "Expected failures ÷ cordons standing that the forecast rests on.",
            f"{plain(mean)} ÷ {standing}", 100 * mean / standing, "%",
        )  # fmt: skip


def _path(shown: Shown, standing: Standing | None, failing: _Failing | None, reason: str | None) -> dict[str, Any]:
    starts = {
        "lost_of_waiting": _percent(standing.lost_of_waiting if standing else None, NO_START),
        "lost_of_grown": _percent(standing.lost_of_grown if standing else None, NO_START),
        "lost_of_new_arm": _percent(standing.lost_of_young[0] if standing else None, NO_START),
    }
    if standing is None or failing is None:
        return {"pace": shown.pace, "reason": reason, **starts, "winters": []}
    mean, low, high = (lost_ahead(standing, each, [shown.pace]) for each in (failing.mean, failing.low, failing.high))
    winters = [
        {
            "winter": at + 1,
            "season": shown.season + at + 1,
            "lost": _percent(float(mean.lost[at, 0])),
            "low": round(100 * min(float(low.lost[at, 0]), float(mean.lost[at, 0])), 6),
            "high": round(100 * max(float(high.lost[at, 0]), float(mean.lost[at, 0])), 6),
            "laid_down": float(mean.laid_down[at, 0]),
            "failed": float(mean.failed[at, 0]),
            "waiting": float(mean.waiting[at, 0]),
        }
        for at in range(len(failing.mean))
    ]
    return {"pace": shown.pace, "reason": None, **starts, "winters": winters}


def _smallest(shown: Shown, standing: Standing | None, failing: _Failing | None, reason: str | None) -> dict[str, Any]:
    limit = shown.limit_percent
    if limit is None:
        nothing = figure(None, "1", reason=NO_LIMIT)
        return {"limit": _percent(None, NO_LIMIT), "in_every_winter": nothing, "in_the_last_winter": nothing}
    if standing is None or failing is None:
        nothing = figure(None, "1", reason=reason)
        return {"limit": figure(limit, "%"), "in_every_winter": nothing, "in_the_last_winter": nothing}
    return {
        "limit": figure(limit, "%"),
        "in_every_winter": _found(smallest_pace(standing, failing.mean, limit / 100)),
        "in_the_last_winter": _found(smallest_pace(standing, failing.mean, limit / 100, only_last=True)),
    }


def _found(found: PaceFound) -> dict[str, Any]:
    return figure(found.pace, "1", reason=found.reason)


def example() -> dict[str, Any]:
    """Show an invented farm of 40 cordons of twelve years, of which two wait and one is being filled."""
    count = 40
    states, nothing = np.full(count, GROWN), np.zeros(count)
    states[0], states[1], states[2] = WAITS, WAITS, YOUNG
    blank, dead, young = nothing.copy(), nothing.copy(), nothing.copy()
    blank[:2], dead[:2], young[2], blank[3:] = 0.4, 0.2, 0.6, 0.05
    ages, first = np.where(states == YOUNG, 0.0, np.nan), np.where(states == YOUNG, 0.4, np.nan)
    now = CordonsNow(
        (), np.zeros(count, np.intp), states, blank + dead + young, blank, dead, young, ages, first, 0.4, 2
    )
    outlook = replacements_ahead([0] * 12 + [38], [200] * 12, [6] * 12, winters=2, confidence=USUAL_CONFIDENCE)
    return capacity_shown(Shown(None, 2026, now, standing_of(now), outlook, pace=2, limit_percent=10.0))
