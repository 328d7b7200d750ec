"""Sampling precision: how well the weighed vines tell of the block, and how many it takes to know more."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from balance.formulas.counting import counted
from balance.formulas.samples.sample_estimate import FEW, NO_MEAN, Progress, progress_of
from balance.formulas.samples.sample_size import DEFAULT_VARIATION
from balance.reports.document import Figure, Section
from balance.reports.facts import CONFIDENCE, Facts
from balance.reports.figures import PERCENT, VINES, Ends, figure, written
from balance.reports.sections.prunings import NO_VINES
from balance.samples.sampling import spread_of

CODE: Final = "sampling"
TITLE: Final = "Precision of the sample"
#: Wanted unless somebody says otherwise [% of the mean], as at the sample's own address: common practice, no source.
WANTED_ERROR: Final = 10.0
_NOT_WEIGHED: Final = "No vine of the block was weighed in the winter before this harvest."
_NO_CULTIVAR: Final = "The block names no cultivar of the catalogue, so no other block is alike."
_INTERVAL: Final = f"plain mean with its {CONFIDENCE:g} % interval"


def section(facts: Facts) -> Section:
    """Compose the section of one block."""
    if not facts.places.count:
        return Section(CODE, TITLE, reason=NO_VINES)
    progress = progress_for(facts)
    return Section(
        CODE,
        TITLE,
        sentences=tuple(_sentences(facts, progress)),
        figures=(*_precision(facts, progress), *_means(facts)),
    )


def progress_for(facts: Facts) -> Progress:
    """Say whether the vines weighed are enough, and how many it takes."""
    if facts.estimate.n > 1:
        return progress_of(facts.estimate, WANTED_ERROR, CONFIDENCE, DEFAULT_VARIATION)
    spread = spread_of(facts.opened, facts.block, facts.season)
    return progress_of(facts.estimate, WANTED_ERROR, CONFIDENCE, spread.variation)


def _precision(facts: Facts, progress: Progress) -> Iterator[Figure]:
    told = facts.estimate
    few = FEW if told.n else _NOT_WEIGHED
    yield figure("weighed", "Vines weighed", VINES, told.n)
    yield figure("population", "Vines that the mean is about", VINES, told.population)
    yield figure(
        "margin_of_error", "Margin of error of the mean", PERCENT, told.error, n=told.n,
        reason=NO_MEAN if told.mean == 0 else few,
    )  # fmt: skip
    yield figure(
        "vines_needed", f"Vines to weigh for a mean within {WANTED_ERROR:g} %", VINES, progress.needed,
        reason=progress.reason,
    )  # fmt: skip


def _means(facts: Facts) -> Iterator[Figure]:
    weight, told, alike = facts.reading.units.vine_weight, facts.estimate, facts.alike
    ends = Ends(told.low, told.high, _INTERVAL)
    yield figure("plain_mean", "Mean pruning weight", weight, told.mean, n=told.n, ends=ends, reason=_NOT_WEIGHED)
    if alike is None:
        yield figure("shrunken_mean", "Mean drawn towards alike blocks", weight, None, reason=_NO_CULTIVAR)
        return
    drawn = alike.of_block.get(facts.block.pk)
    reason = _NOT_WEIGHED if drawn is None else " ".join(alike.told.reasons)
    moved = drawn is not None and alike.told.farm_means is not None
    shrunken = drawn.shrunken if drawn is not None and moved else None
    yield figure("shrunken_mean", "Mean drawn towards alike blocks", weight, shrunken, n=told.n, reason=reason)
    if drawn is not None and moved:
        share = round(100 * drawn.weight_of_plain, 6)
        yield figure("weight_of_plain", "Share of the block's own weights in it", PERCENT, share)


def _sentences(facts: Facts, progress: Progress) -> Iterator[str]:
    told = facts.estimate
    if not told.n:
        spread = spread_of(facts.opened, facts.block, facts.season)
        if progress.needed is not None:
            whose = "the stated default" if spread.season is None else f"the block's weights of {spread.season}"
            yield (
                f"No vine was weighed. By {whose} ({spread.variation:.0f} % variation) "
                f"{counted(progress.needed, 'vine')} would give the mean within {WANTED_ERROR:g} %."
            )
        return
    if told.half_width and told.error is not None:
        width = written(facts.reading.units.vine_weight, told.half_width)
        yield f"The mean is good to {told.error:.1f} % either way ({width}), at {CONFIDENCE:g} % confidence."
    elif told.n == told.population:
        yield "Every vine was weighed, so the mean has no error of sampling."
    if progress.enough:
        yield f"That is enough for {WANTED_ERROR:g} %."
    elif progress.more:
        yield f"For {WANTED_ERROR:g} % weigh {counted(progress.more, 'vine')} more, drawn at random."
