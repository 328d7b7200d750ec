"""The attention list: every rule asked of every block, and the order in which a person should look."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any, Final

from balance.cordons.cases import season_on
from balance.cordons.days import today_on
from balance.cordons.parts_of_year import part_now
from balance.reports.quantities import Units
from balance.summaries import attention_doubts as doubts
from balance.summaries import attention_rules as rules
from balance.summaries.attention import URGENCIES, Asked, Limits, Notice, Rule
from balance.summaries.comparison import head_shown
from balance.summaries.lines import Read, Scope, Wanted, read_lines

RULES: Final[tuple[Rule, ...]] = (
    rules.counted_without_weight,
    rules.not_weighed,
    rules.sample_too_small,
    rules.counts_off_target,
    rules.crop_load_outside,
    rules.crop_load_towards_edge,
    doubts.cordons_due,
    doubts.doubtful_weights,
)
#: In the order of one urgency.
CODES: Final = (
    rules.COUNTED_WITHOUT_WEIGHT,
    rules.NOT_WEIGHED,
    rules.SAMPLE_TOO_SMALL,
    doubts.CORDONS_DUE,
    rules.COUNTS_OFF_TARGET,
    rules.CROP_LOAD_OUTSIDE,
    rules.CROP_LOAD_TOWARDS_EDGE,
    doubts.FAR_OUT_WEIGHTS,
    doubts.ZERO_WEIGHTS,
    doubts.WITHOUT_FORMULA,
    doubts.WITHOUT_SCALE_STEP,
)


def read_for_attention(scope: Scope, season: int | None) -> Read:
    """Read what the rules look at; without a season, each farm's own: what is on there, or a newer one."""
    now = {farm.pk: season_on(farm, today_on(farm)) for farm in scope.farms}
    return read_lines(scope, Wanted(season, back=rules.SEASONS_BACK, not_before=now))


def notices_of(read: Read, limits: Limits, units: Units) -> list[Notice]:
    """Give everything that needs a look, the most urgent first."""
    now = {farm.pk: part_now(farm) for farm in read.scope.farms}
    found = [
        notice
        for line in read.lines
        for rule in RULES
        for notice in rule(line, Asked(limits, now[line.farm.pk], units))
    ]
    return sorted(found, key=key_of)


def key_of(notice: Notice) -> list[Any]:
    """Give the place of a notice in the list: no two have the same."""
    line = notice.line
    return [
        URGENCIES.index(notice.urgency),
        CODES.index(notice.code),
        -notice.weight,
        line.farm.name.casefold(),
        str(line.farm.pk),
        line.head.name.casefold(),
        str(line.head.id),
    ]


def counts_of(notices: Iterable[Notice]) -> dict[str, Sequence[dict[str, Any]]]:
    """Count the notices by urgency and by code; what there is none of is left out."""
    listed = list(notices)
    by_urgency, by_code = Counter(each.urgency for each in listed), Counter(each.code for each in listed)
    return {
        "by_urgency": [{"urgency": each, "count": by_urgency[each]} for each in URGENCIES if by_urgency[each]],
        "by_code": [{"code": each, "count": by_code[each]} for each in CODES if by_code[each]],
    }


def notice_shown(notice: Notice) -> dict[str, Any]:
    """Give one notice with where more of it is shown."""
    line = notice.line
    return {
        **head_shown(line),
        "code": notice.code,
        "urgency": notice.urgency,
        "season": line.season,
        "figures": [{"name": name, "value": value, "unit": unit} for name, value, unit in notice.figures],
        "sentence": notice.sentence,
        "todo": notice.todo,
        "link": f"/api/v1/farms/{line.farm.pk}/{notice.path}",
    }
