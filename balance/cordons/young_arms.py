"""Which arms of a vine or a block were young in one winter, and how many cordons their vines have.

Read from the steps and never latched: an arm is young in a winter if the last step taken by that winter laid it down or
filled it.  A step of a summer holds from the next winter on; withdrawn cases count nowhere.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from django.db import connection

from balance.cordons.parts_of_year import part_of_year_of
from balance.formulas.cordons.frames import cordons_of
from balance.formulas.cordons.reminders import WINTER
from balance.formulas.cordons.replacement_steps import CANDIDATE_CHOSEN, FAILED, GIVEN_UP, LAID_DOWN, NOTICED
from balance.formulas.cordons.replacement_steps import YOUNG_ARM as YOUNG_STEPS
from balance.formulas.cordons.young_arm_load import YoungArm
from balance.formulas.cordons.young_arms import HeldBack, hold_back
from records.access import OpenFarm
from records.models import Block

#: Of several cases of one cordon the arm that was laid down last counts.  The nodes of an arm are what was last said of
#: it before another took its place, whenever it was said.
_YOUNG: Final = """
    WITH taken AS (
        SELECT kept.id, kept.vine_id, kept.cordon, kept.scope, step.number, step.step, step.nodes_laid_down,
               step.season + (extract(month FROM step.happened_on)::int <> ALL(%(winter)s))::int AS winter
        FROM cordon_case AS kept JOIN cordon_step AS step ON step.farm_id = kept.farm_id AND step.case_id = kept.id
        WHERE kept.farm_id = %(farm)s AND {of_these} AND kept.withdrawn_at IS NULL AND kept.step_number > 1),
    standing AS (
        SELECT DISTINCT ON (id) * FROM taken WHERE winter <= %(season)s ORDER BY id, number DESC),
    laid AS (
        SELECT DISTINCT ON (id) id, number, winter FROM taken WHERE step = %(laid_down)s AND winter <= %(season)s
        ORDER BY id, number DESC)
    SELECT DISTINCT ON (vine_id, cordon) vine_id, cordon, scope = 'part_of_cordon', laid.winter = %(season)s,
           (SELECT said.nodes_laid_down FROM taken AS said
            WHERE said.id = standing.id AND said.number >= laid.number AND said.nodes_laid_down IS NOT NULL
              AND said.number < coalesce((
                  SELECT min(gone.number) FROM taken AS gone
                  WHERE gone.id = standing.id AND gone.number > laid.number AND gone.step = ANY(%(ends)s)), 32767)
            ORDER BY said.number DESC LIMIT 1)
    FROM standing JOIN laid USING (id)
    WHERE standing.step = ANY(%(young)s)
    ORDER BY vine_id, cordon, laid.winter DESC, id DESC
"""
_OF_A_BLOCK: Final = _YOUNG.format(of_these="kept.block_id = %(block)s")
_OF_A_VINE: Final = _YOUNG.format(of_these="kept.vine_id = %(vine)s")
_SEEN: Final = """
    SELECT vine_id, array_agg(DISTINCT cordon) FROM (
        SELECT vine_id, cordon, season, max(season) OVER (PARTITION BY vine_id) AS newest FROM cordon_inspection
        WHERE farm_id = %(farm)s AND vine_id = ANY(%(vines)s) AND season <= %(season)s AND withdrawn_at IS NULL
    ) AS looked WHERE season = newest GROUP BY vine_id
"""
#: With these, the arm that was laid down before is another's or no more.
_ENDS: Final = (LAID_DOWN, CANDIDATE_CHOSEN, NOTICED, FAILED, GIVEN_UP)


@dataclass(frozen=True)
class Young:
    """The young arms of one vine, how many cordons it has, and what says so."""

    arms: tuple[YoungArm, ...]
    cordons: int | None
    known_from: str | None

    def of(self, target: int | None) -> HeldBack | None:
        """Hold a target against them."""
        return hold_back(target, self.cordons, self.arms)


def young_arms_of_vine(opened: OpenFarm, block: Block, vine_id: uuid.UUID, season: int) -> Young | None:
    """Give the arms of a vine that were young in the winter before a harvest; None where there were none."""
    found = _read(opened, block, season, _OF_A_VINE, {"vine": vine_id})
    return found.get(vine_id)


def young_arms_of_block(opened: OpenFarm, block: Block, season: int | None) -> dict[uuid.UUID, Young]:
    """Give the same for every vine of a block that had one; one query where none had."""
    return {} if season is None else _read(opened, block, season, _OF_A_BLOCK, {"block": block.pk})


def _read(opened: OpenFarm, block: Block, season: int, sql: str, of_these: Mapping[str, Any]) -> dict[uuid.UUID, Young]:
    arguments = {
        "farm": opened.farm.pk,
        "season": season,
        "winter": [month for month in range(1, 13) if part_of_year_of(opened.farm, date(2001, month, 1)) == WINTER],
        "laid_down": LAID_DOWN,
        "young": list(YOUNG_STEPS),
        "ends": list(_ENDS),
        **of_these,
    }
    arms: dict[uuid.UUID, list[YoungArm]] = {}
    with connection.cursor() as cursor:
        cursor.execute(sql, arguments)
        for vine_id, cordon, part, first_winter, nodes in cursor.fetchall():
            arms.setdefault(vine_id, []).append(YoungArm(cordon, first_winter, nodes, part=part))
    seen = _seen(opened, arms, season) if arms else {}
    return {vine_id: _young(own, seen.get(vine_id, ()), block) for vine_id, own in arms.items()}


def _young(arms: Iterable[YoungArm], seen: Iterable[str], block: Block) -> Young:
    arms = tuple(arms)
    return Young(arms, *cordons_of({*seen, *(arm.cordon for arm in arms)}, block.training))


def _seen(opened: OpenFarm, vines: Iterable[uuid.UUID], season: int) -> dict[uuid.UUID, list[str]]:
    """Give the cordons that were looked at in each vine's newest season with an inspection."""
    with connection.cursor() as cursor:
        cursor.execute(_SEEN, {"farm": opened.farm.pk, "vines": list(vines), "season": season})
        return dict(cursor.fetchall())
