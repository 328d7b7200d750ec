"""Read what farms add to the report of a program, farm by farm and block by block, all at one moment.

Which farms: those whose consent for summaries to this program is in force, read as the lead who asked.  Each farm is
then opened to the work alone, and what leaves it are sums and counts.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Final

import numpy as np

from balance.blocks import BlockTargets, targets_of_block
from balance.cordons.blank_share import blank_cordon_of
from balance.cordons.lives import Lives, lives_of
from balance.cordons.outlook import history_of
from balance.cordons.survival import AGE, CLOCKS, SINCE_FIRST_INSPECTION
from balance.crops.block_crops import PAIRED_VINES, SAMPLES, BlockLoad, crops_of, firmest, loads_of, winters_of
from balance.missing_vines import places_in
from balance.packed import one_row
from balance.reports.programs import sums
from balance.reports.programs.sums import BlockSums, CordonSums, FarmSums, Sum, sum_of
from balance.reports.reading import MOST_BLOCKS, Moment, at_the_moment
from records.access import Caller, OpenFarm, Part, consents_to_count, enter, leads_of, open_for_work
from records.errors import NotFound, NotValid
from records.models import Block, Membership, Person, Purpose, Role
from records.models.vineyards import Training

#: What a farm is opened as: no person comes in, and no right but to be counted.
_COUNTED: Final = Part("counted", frozenset())
OTHER_CULTIVARS: Final = "other or not stated"
#: What is no group of its own.
NOT_GROUPED: Final = (OTHER_CULTIVARS, str(Training.OTHER.label), str(Training.NOT_STATED.label))
_GUESSES: Final = """
    SELECT count(*), coalesce(sum(percent), 0)::float8, coalesce(sum((percent - 100) ^ 2), 0)::float8
    FROM (SELECT 100 * (guessed_weight_kg / pruning_weight_kg)::float8 AS percent
          FROM dormant_record
          WHERE farm_id = %(farm)s AND season = %(season)s AND withdrawn_at IS NULL
            AND guessed_weight_kg IS NOT NULL AND pruning_weight_kg > 0) AS pairs
"""


@dataclass(frozen=True)
class Counting:
    """One program's question, asked at one moment on behalf of one lead."""

    moment: Moment
    program: uuid.UUID
    person: Person
    season: int
    #: What farms have consented to be counted for.
    purpose: str = Purpose.SUMMARIES


def farms_to_count(counting: Counting) -> list[uuid.UUID]:
    """Give the farms whose consent is in force, in the order of their ids."""
    with at_the_moment(counting.moment):
        caller = Caller(counting.person)
        enter(caller)
        consents = consents_to_count(caller, counting.program, counting.purpose)
        return sorted(set(consents.values_list("farm_id", flat=True)))


def sums_of_farm(counting: Counting, farm_id: uuid.UUID) -> Iterator[FarmSums | None]:
    """Read a farm, a short transaction for each block; gives None after each and at last the farm's sums.

    A farm that is gone adds nothing.
    """
    try:
        with _opened(counting, farm_id) as opened:
            blocks = list(_blocks(opened))
            owners, own = _people(counting, farm_id)
        yield None
        parts = []
        for block in blocks:
            with _opened(counting, farm_id) as opened:
                parts.append(sums_of_block(opened, block, counting.season))
            yield None
        with _opened(counting, farm_id) as opened:
            cordons, guesses = _cordons(opened, counting.season), _guesses(opened, counting.season)
    except NotFound:
        return
    yield FarmSums(farm_id, owners, own, tuple(part for part in parts if part is not None), cordons, guesses)


def sums_of_farms(counting: Counting) -> Iterator[tuple[int, int, tuple[FarmSums, ...]]]:
    """Read every farm whose consent is in force; give how many are read, of how many, and at last what was read.

    The one place where farms are read for a program.
    """
    wanted = farms_to_count(counting)
    farms: list[FarmSums] = []
    for done, farm_id in enumerate(wanted):
        for found in sums_of_farm(counting, farm_id):
            farms += [found] if found is not None else []
            yield done, len(wanted), ()
    yield len(wanted), len(wanted), tuple(farms)


@contextmanager
def _opened(counting: Counting, farm_id: uuid.UUID) -> Iterator[OpenFarm]:
    with at_the_moment(counting.moment):
        farm = open_for_work(farm_id)
        yield OpenFarm(farm, Caller(counting.person), _COUNTED)


def _blocks(opened: OpenFarm) -> list[Block]:
    blocks = Block.objects.for_farm(opened.farm).select_related("cultivar", "cultivar__group", "pruning_formula")
    return list(blocks.order_by("name", "id")[:MOST_BLOCKS])


def _people(counting: Counting, farm_id: uuid.UUID) -> tuple[frozenset[uuid.UUID], bool]:
    """Give the owners of a farm, and whether anybody of it leads the program."""
    members = list(Membership.objects.for_farm(farm_id).values_list("person_id", "role"))
    owners = frozenset(person for person, role in members if role == Role.OWNER)
    return owners, not leads_of(counting.program).isdisjoint(person for person, _ in members)


def sums_of_block(opened: OpenFarm, block: Block, season: int) -> BlockSums | None:
    """Sum up one block; one of more vines than are computed at once adds nothing."""
    try:
        targets = targets_of_block(opened, block, season, whole=True)
        found = {
            **_prunings(targets),
            sums.CROP_LOAD: _crop_load(opened, block, season),
            sums.BLANK: _blank(opened, block, season),
        }
    except NotValid:
        return None
    places = places_in(opened, block, season)
    return BlockSums(
        region=opened.farm.region.strip(),
        cultivar=block.cultivar.name if block.cultivar else OTHER_CULTIVARS,
        training=str(block.get_training_display()),
        vines=places.count - places.missing,
        sums={name: each for name, each in found.items() if each.n},
        shelter=str(block.get_shelter_display()),
    )


def _prunings(found: BlockTargets) -> dict[str, Sum]:
    judged = (found.outcome == "within_tolerance", found.outcome == "too_many", found.outcome == "too_few")
    held = int(sum(np.count_nonzero(each) for each in judged))
    shares = zip((sums.ON_TARGET, sums.TOO_MANY, sums.TOO_FEW), judged, strict=True)
    return {
        sums.PRUNING_WEIGHT: sum_of(found.walked.weights_kg),
        sums.TARGET: sum_of(found.targets.nodes),
        sums.KEPT: sum_of(found.walked.retained),
        **{name: Sum(held, float(np.count_nonzero(each)), float(held)) for name, each in shares},
    }


def _crop_load(opened: OpenFarm, block: Block, season: int) -> Sum:
    """Give yield and prunings of the whole block: the harvest before, and the winter that came after it."""
    crop, winter = crops_of(opened, block, season - 1).get(season - 1), winters_of(opened, block, season).get(season)
    if crop is None or winter is None:
        return Sum()
    places = places_in(opened, block, season - 1)
    standing = places.count - places.missing
    load = firmest(loads_of(crop, winter, standing))
    if load is None or load.yield_kg is None or load.pruning_kg is None:
        return Sum()
    scale = _to_the_block(load, standing)
    return Sum(1, load.yield_kg * scale, load.pruning_kg * scale)


def _to_the_block(load: BlockLoad, standing: int) -> float:
    """Give by what the two sides are multiplied so that blocks count by their vines, whatever was weighed of them."""
    if load.basis == SAMPLES:
        return float(standing)
    return standing / load.vines if load.basis == PAIRED_VINES and load.vines else 1.0


def _blank(opened: OpenFarm, block: Block, season: int) -> Sum:
    found = blank_cordon_of(opened, [block.pk], season, season)
    if not found:
        return Sum()
    positions = found[0].positions
    return Sum(positions.cordons, positions.blank, positions.whole)


def _cordons(opened: OpenFarm, season: int) -> dict[str, CordonSums]:
    try:
        lives = lives_of(opened, None, season)
    except NotValid:
        return {}
    return {clock: _on_clock(lives, season, clock) for clock in CLOCKS}


def _on_clock(lives: Lives, season: int, clock: str) -> CordonSums:
    history = history_of(lives, season, clock)
    return CordonSums(history.standing, history.exposure, history.failures, history.left_out)


def _guesses(opened: OpenFarm, season: int) -> Sum:
    n, percent, squares = one_row(_GUESSES, {"farm": opened.farm.pk, "season": season})
    return Sum(n, percent, float(n), squares)


def clock_of(farms: Sequence[FarmSums]) -> str:
    """Give the clock on which all cordons can be counted: by age, unless an age is not known."""
    by_age = [farm.cordons[AGE] for farm in farms if AGE in farm.cordons]
    return SINCE_FIRST_INSPECTION if any(each.left_out for each in by_age) else AGE
