"""Weights, counts and crop loads of a block that a person should look at."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Final

from balance.formulas.cordons.reminders import WINTER
from balance.formulas.counting import counted
from balance.formulas.ranges import ABOVE, BELOW, WITHIN
from balance.formulas.summaries.shares import share_of
from balance.reports.words import number
from balance.summaries.attention import NOW, SOON, Asked, Notice
from balance.summaries.lines import Line

COUNTED_WITHOUT_WEIGHT: Final = "counted_without_weight"
NOT_WEIGHED: Final = "not_weighed"
SAMPLE_TOO_SMALL: Final = "sample_too_small"
COUNTS_OFF_TARGET: Final = "counts_off_target"
CROP_LOAD_OUTSIDE: Final = "crop_load_outside_range"
CROP_LOAD_TOWARDS_EDGE: Final = "crop_load_towards_edge"
#: So many harvests one after the other show a way: two differ by chance. Common practice, no source.
HARVESTS_OF_A_WAY: Final = 3
#: The season itself, the one before it that may stand for it, and those that show a way there.
SEASONS_BACK: Final = HARVESTS_OF_A_WAY + 1


def counted_without_weight(line: Line, asked: Asked) -> Iterator[Notice]:
    """Tell of counts that nobody can judge because the vine was not weighed: at least so many as exceed the weights."""
    row = line.row
    without = row.counted - row.weighed if row else 0
    if row is None or without <= 0:
        return
    yield Notice(
        COUNTED_WITHOUT_WEIGHT,
        NOW if _winter_is_on(line, asked) else SOON,
        line,
        f"{counted(row.counted, 'vine')} counted and {counted(row.weighed, 'vine')} weighed: at least {without} "
        "of the counts cannot be judged.",
        "Weigh before the cut: a count without a weight has no target.",
        f"blocks/{line.head.id}/targets?season={line.season}",
        (("counted", row.counted, "vines"), ("weighed", row.weighed, "vines")),
        without,
    )


def not_weighed(line: Line, asked: Asked) -> Iterator[Notice]:
    """Tell of a block in which nothing was weighed while its winter is on."""
    row = line.row
    if not _winter_is_on(line, asked) or not line.head.has_vines or (row is not None and row.weighed):
        return
    if row is not None and row.places and not row.standing:
        return
    standing = row.standing if row and row.places else None
    yield Notice(
        NOT_WEIGHED,
        NOW,
        line,
        f"The winter before the harvest of {line.season} is on and no vine of the block was weighed.",
        "Weigh a sample before the cut: its sample plan says how many vines, and which.",
        f"blocks/{line.head.id}/sample-plan?season={line.season}&seed=1",
        (("standing_vines", standing, "vines"),) if standing is not None else (),
        standing or 0,
    )


def sample_too_small(line: Line, asked: Asked) -> Iterator[Notice]:
    """Tell of a sample whose mean is less certain than wanted, while more vines can still be weighed."""
    row = line.row
    winter = row.winter if row else None
    if row is None or winter is None or not _winter_is_on(line, asked) or winter.n >= row.standing:
        return
    weight = asked.units.vine_weight
    mean, figures = weight.of(winter.mean), (("weighed", winter.n, "vines"), ("standing_vines", row.standing, "vines"))
    said = f"{counted(winter.n, 'vine')} of {row.standing} weighed"
    if winter.high is None:
        error, why = None, f"{said}: one weight says nothing of how much the vines differ."
    else:
        error = 100 * (winter.high - winter.mean) / winter.mean if winter.mean > 0 else None
        if error is None or error <= asked.limits.error:
            return
        why = f"{said}: the mean is certain to ±{number(error, 1)} %, and ±{number(asked.limits.error, 1)} % is wanted."
    yield Notice(
        SAMPLE_TOO_SMALL,
        NOW,
        line,
        why,
        "Weigh more vines before the cut: the sample's progress says how many.",
        f"blocks/{line.head.id}/sample-progress?season={line.season}",
        (*figures, ("mean_weight", mean, weight.unit), ("error", None if error is None else round(error, 6), "%")),
        error or 1_000.0,
    )


def counts_off_target(line: Line, asked: Asked) -> Iterator[Notice]:
    """Tell of a block in which a large share of the counts is off target by more than the scale can explain."""
    counts = line.counts
    if counts is None:
        return
    off = counts.too_many + counts.too_few
    share = share_of(off, counts.judged) or 0.0
    if share <= asked.limits.off_target_share:
        return
    way = "above" if counts.difference > 0 else "below"
    on_average = f", on average {number(abs(counts.difference), 1)} nodes {way} it" if counts.difference else ""
    yield Notice(
        COUNTS_OFF_TARGET,
        NOW if _winter_is_on(line, asked) else SOON,
        line,
        f"Off target: {counts.too_many} of {counted(counts.judged, 'count')} above it and {counts.too_few} below"
        f"{on_average}.",
        "Look at the vines with the pruners; what was left too long can still be shortened, what is off stays off."
        if counts.too_many and _winter_is_on(line, asked)
        else "Talk with the pruners before they cut again: what is off stays off.",
        f"blocks/{line.head.id}/targets?season={line.season}",
        (
            ("off_target_share", share, "%"),
            ("too_many", counts.too_many, "vines"),
            ("too_few", counts.too_few, "vines"),
            ("mean_difference", counts.difference, "nodes"),
        ),
        share,
    )


def crop_load_outside(line: Line, asked: Asked) -> Iterator[Notice]:  # noqa: ARG001 - every rule is asked alike
    """Tell of a crop load outside the range that is assigned to the block."""
    judged = line.judged
    if judged is None or judged.verdict not in {BELOW, ABOVE}:
        return
    told = _range_of(line)
    value = judged.load.quotient.value or 0.0
    yield Notice(
        CROP_LOAD_OUTSIDE,
        SOON,
        line,
        line.standing[1],
        "Read the trend of the vine size beside it before the formula of next winter is changed.",
        f"blocks/{line.head.id}/vine-size-trend",
        _load_figures(value, told),
        _distance(value, told),
    )


def crop_load_towards_edge(line: Line, asked: Asked) -> Iterator[Notice]:
    """Tell of a crop load that moved one way over three harvests and comes near the end of its range there."""
    judged = line.judged
    if judged is None or judged.verdict != WITHIN:
        return
    seasons = range(judged.season - HARVESTS_OF_A_WAY + 1, judged.season + 1)
    values = [line.load_of(season).quotient.value for season in seasons]
    if any(value is None for value in values):
        return
    known = [value for value in values if value is not None]
    pairs = list(pairwise(known))
    low, high = _range_of(line)
    rises, falls = all(one < two for one, two in pairs), all(one > two for one, two in pairs)
    edge = high if rises else low if falls else None
    wide = (high if high is not None else 0.0) - (low or 0.0)
    if edge is None or wide <= 0 or 100 * abs(edge - known[-1]) > asked.limits.edge_share * wide:
        return
    yield Notice(
        CROP_LOAD_TOWARDS_EDGE,
        SOON,
        line,
        f"The crop load {'rose' if rises else 'fell'} over {HARVESTS_OF_A_WAY} harvests to {number(known[-1], 1)} in "
        f"{judged.season}, near the {'upper' if rises else 'lower'} end of its range, {edge:g}.",
        "Look at the trend of the vine size, and settle the crop of next season with it in view.",
        f"blocks/{line.head.id}/vine-size-trend",
        (*((f"crop_load_{season}", value, "1") for season, value in zip(seasons, known, strict=True)),
         ("range_low", low, "1"), ("range_high", high, "1")),
        -abs(edge - known[-1]) / wide,
    )  # fmt: skip


def _winter_is_on(line: Line, asked: Asked) -> bool:
    """Tell whether it is the winter before the harvest that is asked about, by the farm's own date."""
    return asked.now.part == WINTER and asked.now.season == line.season


def _range_of(line: Line) -> tuple[float | None, float | None]:
    told = line.assigned.shown() if line.assigned else {"low": None, "high": None}
    return told["low"], told["high"]


def _load_figures(
    value: float, told: tuple[float | None, float | None]
) -> tuple[tuple[str, float | None, str], ...]:  # fmt: skip
    return ("crop_load", value, "1"), ("range_low", told[0], "1"), ("range_high", told[1], "1")


def _distance(value: float, told: tuple[float | None, float | None]) -> float:
    """Give how far a value lies outside, as a share of the limit that it crossed."""
    low, high = told
    if high is not None and value > high:
        return (value - high) / high if high else value
    return (low - value) / low if low else 0.0
