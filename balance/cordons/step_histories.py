"""The steps of a farm's cases as columns, each with the group that it is counted in; no object a step."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from balance.cordons.asked_blocks import block_named
from balance.cordons.models import SPRINGS_FROM
from balance.formulas.cordons.replacement_steps import STEPS
from balance.formulas.cordons.step_history import StepHistory, carried
from balance.packed import one_row, packed_column
from records.access import OpenFarm
from records.errors import NotValid

#: More steps than this are asked for block by block.
MOST_STEPS: Final = 500_000
#: More groups than this are no table any more.
MOST_GROUPS: Final = 500
NONE: Final = "none"
BLOCK: Final = "block"
CULTIVAR: Final = "cultivar"
ROOTSTOCK: Final = "rootstock"
ORIGIN: Final = "origin"
NOT_SAID: Final = "not_said"
#: By what the steps are grouped: what names a group, and what people call it.
_GROUPS: Final = {
    NONE: ("''", "''"),
    ORIGIN: ("''", "''"),
    BLOCK: ("block.id::text", "block.name"),
    CULTIVAR: (
        "coalesce(block.cultivar_id, nullif(block.cultivar_as_named, ''), 'not_said')",
        "coalesce(cultivar.name, nullif(block.cultivar_as_named, ''), 'not said')",
    ),
    ROOTSTOCK: (
        "coalesce(nullif(vine.rootstock, ''), nullif(block.rootstock, ''), 'not_said')",
        "coalesce(nullif(vine.rootstock, ''), nullif(block.rootstock, ''), 'not said')",
    ),
}
GROUPINGS: Final = tuple(_GROUPS)
_STEPS: Final = """
    WITH told AS (
        SELECT kept.id AS case_id, step.number, array_position(%(steps)s::text[], step.step::text) - 1 AS step,
               step.happened_on - '1970-01-01'::date AS day,
               coalesce(array_position(%(origins)s::text[], step.candidate_springs_from::text), 0) - 1 AS origin,
               ({key}) COLLATE "C" AS key, {label} AS label
        FROM cordon_case AS kept
        JOIN cordon_step AS step ON step.farm_id = kept.farm_id AND step.case_id = kept.id
        JOIN block ON block.farm_id = kept.farm_id AND block.id = kept.block_id
        JOIN vine ON vine.farm_id = kept.farm_id AND vine.id = kept.vine_id
        LEFT JOIN cultivar ON cultivar.code = block.cultivar_id
        WHERE kept.farm_id = %(farm)s AND kept.withdrawn_at IS NULL
          AND (%(block)s::uuid IS NULL OR kept.block_id = %(block)s)
        LIMIT %(most)s
    ), placed AS (
        SELECT *, dense_rank() OVER (ORDER BY case_id) - 1 AS nth, dense_rank() OVER (ORDER BY key) - 1 AS of_group
        FROM told ORDER BY case_id, number
    )
    SELECT string_agg(int4send(nth::int4), ''), string_agg(int2send(step::int2), ''),
           string_agg(int4send(day), ''), string_agg(int2send(origin::int2), ''),
           string_agg(int4send(of_group::int4), ''),
           (SELECT array_agg(key ORDER BY key) FROM (SELECT DISTINCT key FROM told) AS keys),
           (SELECT array_agg(label ORDER BY key) FROM (SELECT key, min(label) AS label FROM told GROUP BY key) AS named)
    FROM placed
"""


@dataclass(frozen=True)
class Grouping:
    """Of which cases, and by what they are told apart."""

    by: str = NONE
    block_id: uuid.UUID | None = None


@dataclass(frozen=True, eq=False)
class Told:
    """The steps on record with the group that each counts in.

    ``group`` holds places in ``keys`` and ``labels``, one a step: the origin of a candidate is what was last said.
    """

    history: StepHistory
    group: NDArray[np.int64]
    keys: list[str]
    labels: list[str]


def steps_told(opened: OpenFarm, wanted: Grouping) -> Told:
    """Give the steps of all cases that were not withdrawn.

    Raises
    ------
    NotValid
        The farm has no such block, or there are too many steps or groups to be answered at once.
    """
    block_named(opened, wanted.block_id)
    key, label = _GROUPS[wanted.by]
    arguments = {
        "farm": opened.farm.pk,
        "block": wanted.block_id,
        "steps": list(STEPS),
        "origins": list(SPRINGS_FROM),
        "most": MOST_STEPS + 1,
    }
    told = _unpacked(one_row(_STEPS.format(key=key, label=label), arguments), wanted.by)
    if len(told.history) > MOST_STEPS:
        raise NotValid.at(
            "block", code="too_many_steps", detail=f"More than {MOST_STEPS:,} steps are on record; ask block by block."
        )
    if len(told.keys) > MOST_GROUPS:
        raise NotValid.at(
            "by", code="too_many_groups", detail=f"There are more than {MOST_GROUPS} groups; ask block by block."
        )
    return told


def days_of(day: date) -> int:
    """Count a day as the steps on record count theirs."""
    return (day - date(1970, 1, 1)).days


def _unpacked(row: tuple[Any, ...], by: str) -> Told:
    case, step, day, origin, group, keys, labels = row
    history = StepHistory(
        packed_column(case, ">i4", np.int64), packed_column(step, ">i2", np.int64), packed_column(day, ">i4", np.int64)
    )
    if by != ORIGIN:
        return Told(history, packed_column(group, ">i4", np.int64), keys or [], labels or [])
    held = carried(history, packed_column(origin, ">i2", np.int64))
    held = np.where(held < 0, len(SPRINGS_FROM), held)
    names = [*SPRINGS_FROM, NOT_SAID]
    return Told(history, held, names, [name.replace("_", " ") for name in names])
