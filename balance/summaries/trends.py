"""The main figures of a block, a farm or a portfolio season by season."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from balance.formulas.summaries.pooling import Group, pooled
from balance.reports.quantities import Units
from balance.summaries.distributions import NOBODY_WEIGHED, weighed_in
from balance.summaries.glance import blank_share_of, complete_of, counts_of, crop_loads_of, load_shown
from balance.summaries.lines import BLOCK, Line, Read, Scope, Wanted, read_lines
from balance.summaries.rows import Row
from records.errors import NotValid

#: Answered at once, and unless asked otherwise.
MOST_SEASONS: Final = 30
USUAL_SEASONS: Final = 10


def read_trend(scope: Scope, first: int | None, last: int | None) -> tuple[Read, range]:
    """Read the seasons from ``first`` to ``last``; without them, the ten that end with the newest on record.

    Without ``first``, nothing is told of seasons before the oldest of them on record.

    Raises
    ------
    NotValid
        They lie the wrong way round, or are more than are answered at once.
    """
    if first is not None and last is not None and first > last:
        raise NotValid.at(
            "first", code="out_of_range", detail=f"The first season, {first}, lies after the last, {last}."
        )
    if first is not None and last is not None:
        _bounded(first, last)
    read = read_lines(scope, Wanted(last, first, back=USUAL_SEASONS - 1, with_work=False))
    if read.season is None:
        return read, range(0)
    begins = _oldest(read) if first is None else first
    if begins > read.season:
        return read, range(0)
    _bounded(begins, read.season)
    return read, range(begins, read.season + 1)


def _oldest(read: Read) -> int:
    """Give the oldest season that was read and says anything; the newest where none does."""
    seasons = (row.season for line in read.lines for row in line.rows.values() if row.says_anything)
    return min(seasons, default=read.season or 0)


def _bounded(first: int, last: int) -> None:
    if last - first >= MOST_SEASONS:
        raise NotValid.at(
            "first",
            code="too_many_seasons",
            detail=f"From {first} to {last} there are {last - first + 1} seasons; {MOST_SEASONS} are answered at once. "
            "Send last=, too, and ask in parts.",
        )


def trend_of(read: Read, seasons: Sequence[int], units: Units) -> list[dict[str, Any]]:
    """Give the figures of each season, also of one without a record: a gap is shown, never left out."""
    return [_season(read, season, units) for season in seasons]


def _season(read: Read, season: int, units: Units) -> dict[str, Any]:
    rows = [row for line in read.lines if (row := line.rows.get(season)) is not None]
    one = read.lines[0] if read.scope.kind == BLOCK else None
    counts, complete = counts_of(rows), complete_of(rows)
    share, cordons = blank_share_of(rows)
    return {
        "season": season,
        "blocks_recorded": sum(row.says_anything for row in rows),
        "standing_vines": complete["standing_vines"],
        "weights": _weights(rows, one is not None, units),
        **{name: complete[name] for name in ("weighed_share", "counted_share", "blocks_with_harvest")},
        **{
            name: counts[name]
            for name in ("targets", "judged", "within", "too_many", "too_few", "mean_difference", "mean_target")
        },
        "crop_load": load_shown(one, season, units) if one else None,
        "crop_loads": crop_loads_of([_verdict(line, season) for line in read.lines]),
        "cordons": cordons,
        "blank_share": share,
    }


def _weights(rows: Sequence[Row], of_a_block: bool, units: Units) -> dict[str, Any]:
    weight, weighed = units.vine_weight, weighed_in(rows)
    told = pooled(Group(row.weighed, row.weight_mean, row.weight_deviation) for row in weighed)
    winter = weighed[0].winter if of_a_block and weighed else None
    return {
        "unit": weight.unit,
        "n": told.n,
        "mean": weight.of(told.mean),
        "standard_deviation": weight.of(told.deviation),
        "low": weight.of(winter.low) if winter else None,
        "high": weight.of(winter.high) if winter else None,
        "reason": None if told.n else NOBODY_WEIGHED,
    }


def _verdict(line: Line, season: int) -> str | None:
    judged = line.judged_in(season)
    return "" if judged is None else judged.verdict
