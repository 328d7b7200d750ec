"""What farms bring to a snapshot: the sums of their plantings, and nothing that names anybody.

A planting is everything of one grower that no figure tells apart: one region, one cultivar, one training, one shelter.
"""

from __future__ import annotations

import hashlib
import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from balance.benchmarks.measures import BY_NAME, DIMENSIONS
from balance.formulas.privacy.hierarchy import Contribution
from balance.reports.programs.contributions import NOT_GROUPED
from balance.reports.programs.labels import ALL, common_labels, key_of
from balance.reports.programs.releasing import growers_of, said_of
from balance.reports.programs.sums import BlockSums, FarmSums

Labels = tuple[str | None, ...]


@dataclass(frozen=True)
class Planting:
    """One planting: what it is told apart by (none where too few growers share it), and sum and weight by measure."""

    labels: Labels
    vines: int
    sums: dict[str, tuple[float, float]]


@dataclass(frozen=True)
class Brought:
    """What one farm brings, and by which name its grower is known among those of the same snapshot."""

    farm: uuid.UUID
    grower: str
    plantings: tuple[Planting, ...]

    def stands_at(self) -> frozenset[tuple[str, tuple[str, str]]]:
        """Give every measure and place of the hierarchy that the farm stands at."""
        return frozenset(
            (measure, (dimension, label))
            for planting in self.plantings
            for measure in planting.sums
            for dimension, label in ((ALL, ""), *zip(DIMENSIONS, planting.labels, strict=True))
            if label is not None
        )

    def as_json(self) -> list[dict[str, Any]]:
        return [
            {"labels": list(each.labels), "vines": each.vines, "sums": {k: list(v) for k, v in each.sums.items()}}
            for each in self.plantings
        ]

    @classmethod
    def of(cls, farm: uuid.UUID, grower: str, said: Sequence[Mapping[str, Any]]) -> Brought:
        plantings = (
            Planting(tuple(each["labels"]), each["vines"], {k: (v[0], v[1]) for k, v in each["sums"].items()})
            for each in said
        )
        return cls(farm, grower, tuple(plantings))


def told_apart(farms: Sequence[FarmSums], salt: str) -> tuple[Brought, ...]:
    """Sort what was read into plantings; labels that too few growers share are not written down."""
    growers = growers_of(farms)
    measured = [(growers[farm.farm], block) for farm in farms for block in farm.blocks if _sums(block)]
    known = {
        dimension: common_labels(
            ((grower, " ".join(said_of(block, dimension).split())) for grower, block in measured), _NO_GROUPS
        )
        for dimension in DIMENSIONS
    }
    return tuple(
        Brought(farm.farm, _named(salt, growers[farm.farm]), tuple(_plantings(farm.blocks, known)))
        for farm in sorted(farms, key=lambda farm: farm.farm)
    )


def _named(salt: str, grower: str) -> str:
    """Name a grower so that neither another snapshot nor another farm's id follows from it."""
    return hashlib.sha256(f"{salt}:{grower}".encode()).hexdigest()[:32]


def _sums(block: BlockSums) -> dict[str, tuple[float, float]]:
    found = {name: block.sums[name] for name in BY_NAME if name in block.sums}
    return {name: (max(0.0, each.top), each.under) for name, each in found.items() if each.under > 0}


def _plantings(blocks: Iterable[BlockSums], known: Mapping[str, Mapping[str, str]]) -> Iterator[Planting]:
    piles: dict[Labels, list[BlockSums]] = defaultdict(list)
    for block in blocks:
        if _sums(block):
            piles[tuple(known[each].get(key_of(said_of(block, each))) for each in DIMENSIONS)].append(block)
    for labels in sorted(piles, key=lambda each: tuple(label or "" for label in each)):
        pile, sums = piles[labels], defaultdict[str, list[tuple[float, float]]](list)
        for block in pile:
            for name, pair in _sums(block).items():
                sums[name].append(pair)
        added = {name: (sum(a for a, _ in pairs), sum(b for _, b in pairs)) for name, pairs in sums.items()}
        yield Planting(labels, sum(block.vines for block in pile), added)


_NO_GROUPS = frozenset(key_of(label) for label in NOT_GROUPED)


def contributions_of(brought: Iterable[Brought], measure: str, names: Mapping[str, str]) -> tuple[Contribution, ...]:
    """Give what growers bring to one measure; ``names`` gives the one name of a grower over several snapshots."""
    return tuple(
        Contribution(names[each.grower], planting.sums[measure][0], planting.sums[measure][1], planting.labels)
        for each in brought
        for planting in each.plantings
        if measure in planting.sums
    )


def one_name_each(sources: Iterable[Iterable[Brought]]) -> dict[str, str]:
    """Give each grower of several snapshots one name: who shares a farm in any of them is one."""
    name_of: dict[str, str] = {}
    of_farm: dict[uuid.UUID, str] = {}
    for each in (one for source in sources for one in source):
        old, new = name_of.setdefault(each.grower, each.grower), of_farm.setdefault(each.farm, each.grower)
        joined = name_of[new]
        if old != joined:
            name_of = {grower: joined if name == old else name for grower, name in name_of.items()}
    # Named by what does not change from one snapshot to the next, so that all is tried in one order.
    first: dict[str, str] = {}
    for farm in sorted(of_farm):
        first.setdefault(name_of[of_farm[farm]], str(farm))
    return {grower: first[name] for grower, name in name_of.items()}
