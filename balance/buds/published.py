"""What is published about bud injury, read from the catalogues: adjustments, sampling advice, secondary buds."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from balance.catalogues import read_rows
from balance.formulas.buds.bud_adjustments import Adjustment, Band, adjustments_of


@dataclass(frozen=True)
class SamplingAdvice:
    """What one source says of how many buds to cut open, and from where; None where it does not say."""

    code: str
    version: int
    label: str
    buds_from: int
    buds_to: int | None
    canes_from: int | None
    canes_to: int | None
    first_node: int | None
    last_node: int | None
    hours_warm_from: int | None
    hours_warm_to: int | None
    instruction: str
    source: str
    source_mark: str
    region: str
    year: int | None
    note: str


@dataclass(frozen=True)
class SecondaryFruitfulness:
    """What a source says a secondary bud of a cultivar bears [% of a primary]."""

    code: str
    version: int
    cultivar: str
    percent_of_primary: float
    source: str
    source_mark: str
    region: str
    year: int | None
    note: str


@lru_cache(maxsize=1)
def adjustments() -> tuple[Adjustment, ...]:
    """Give every adjustment in every version, as the catalogue orders them."""
    return adjustments_of(read_rows("bud_adjustments", Band))


def newest_adjustments() -> tuple[Adjustment, ...]:
    """Give the newest version of every adjustment."""
    newest: dict[str, Adjustment] = {}
    for each in adjustments():
        if each.code not in newest or each.version > newest[each.code].version:
            newest[each.code] = each
    return tuple(newest.values())


def adjustment_named(name: str) -> Adjustment | None:
    """Give an adjustment by its code, in its newest version, or by ``code@version``; None where there is none."""
    code, _, number = name.partition("@")
    if not number:
        return next((each for each in newest_adjustments() if each.code == code), None)
    return next((each for each in adjustments() if f"{each.code}@{each.version}" == f"{code}@{number}"), None)


def sampling_advice() -> tuple[SamplingAdvice, ...]:
    """Give what the sources say of sampling."""
    return read_rows("bud_sampling", SamplingAdvice)


def published_fruitfulness(cultivar: str | None) -> tuple[SecondaryFruitfulness, ...]:
    """Give what is published of a cultivar's secondary buds; it is shown, and never used unless somebody sets it."""
    return tuple(row for row in read_rows("secondary_fruitfulness", SecondaryFruitfulness) if row.cultivar == cultivar)
