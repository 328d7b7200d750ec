"""What changed against the season before: weights, crop load, blank cordon, cases of replacement."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from balance.crops.block_crops import BlockLoad
from balance.formulas.counting import counted
from balance.formulas.crops.winters import Winter
from balance.formulas.samples.mean_change import Sample, mean_change
from balance.reports.facts import CONFIDENCE, Facts
from balance.reports.figures import PERCENT, RATIO, written
from balance.reports.words import number

_NOTHING: Final = "Nothing can be compared with the season before: it lacks the same records."


def changes_of(facts: Facts) -> tuple[str, ...]:
    """Give what changed, a sentence each."""
    return tuple(_changes(facts)) or (_NOTHING,)


def _changes(facts: Facts) -> Iterator[str]:
    winters, loads = facts.trend.winters, facts.trend.loads
    if facts.season in winters and facts.season - 1 in winters:
        yield _weights(facts, winters[facts.season - 1], winters[facts.season])
    judged = facts.judged
    if judged is not None and judged.season - 1 in loads:
        yield _load(judged.season, loads[judged.season - 1], judged.load)
    yield from _blank(facts)
    if facts.cases.noticed:
        yield f"{counted(facts.cases.noticed, 'new case')} of cordon replacement noticed."


def _weights(facts: Facts, before: Winter, after: Winter) -> str:
    told = mean_change(_sample(before), _sample(after), CONFIDENCE)
    weight = facts.reading.units.vine_weight
    pair = f"{written(weight, before.mean)} to {written(weight, after.mean)}"
    if told.beyond_chance is None:
        return f"Mean pruning weight {pair}; too few vines were weighed to tell a change from chance."
    if not told.beyond_chance:
        return f"Mean pruning weight {pair}: no more than chance."
    return f"Mean pruning weight {'up' if told.change > 0 else 'down'} from {pair}, by more than chance."


def _sample(winter: Winter) -> Sample:
    return Sample(winter.n, winter.population, winter.mean, winter.standard_deviation)


def _load(season: int, before: BlockLoad, after: BlockLoad) -> str:
    """Call a crop load changed only where the two intervals are known and lie apart."""
    pair = (
        f"{number(before.quotient.value or 0.0, RATIO.digits)} to {number(after.quotient.value or 0.0, RATIO.digits)}"
    )
    if before.basis != after.basis:
        return f"Crop load {pair} in the harvest of {season}, but the two rest on different measurements."
    ends = (before.low, before.high, after.low, after.high)
    if None in ends:
        return f"Crop load {pair} in the harvest of {season}; how much of that is chance is not known."
    up, down = (after.low or 0) > (before.high or 0), (after.high or 0) < (before.low or 0)
    if not (up or down):
        return f"Crop load {pair} in the harvest of {season}: the intervals overlap."
    return f"Crop load {'up' if up else 'down'} from {pair} in the harvest of {season}."


def _blank(facts: Facts) -> Iterator[str]:
    now = facts.blank_cordon.get(facts.season)
    if now is None:
        return
    for name, sums in (("spur positions", now.positions), ("length", now.length)):
        change = sums.change_in_both
        if change is None:
            continue
        cordons = counted(sums.cordons_in_both, "cordon")
        if change == 0:
            yield f"Blank cordon by {name} as before, on {cordons} inspected both times."
        else:
            points = number(abs(change), PERCENT.digits)
            yield f"Blank cordon by {name} {'up' if change > 0 else 'down'} by {points} percentage points on {cordons}."
        return
