"""Why a cordon is proposed for replacement: what was measured beside the threshold as it was set."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from balance.cordons.failing_cordons import FailingCordon
from balance.cordons.models import CordonSettings, Reason
from balance.formulas.cordons.replacement_scope import CORDONS_OF_A_WHOLE_VINE, SCOPE_SOURCE
from balance.formulas.counting import counted
from balance.formulas.targets.explanation import plain

#: Units as people write them in a sentence; the code stands beside each number elsewhere.
_WORDS: Final = {"[ft_i]": "ft", "[in_i]": "in"}
#: A share is said in whole per cent, unless it is so small that nothing would be left of it.
_WHOLE_FROM: Final = 10
OF_THE_BLOCK: Final = "the block's own threshold"
OF_THE_FARM: Final = "the farm's own threshold"


@dataclass(frozen=True)
class Amount:
    """A number with its unit, as somebody measured or set it; the unit is a UCUM code."""

    value: float
    unit: str

    def __str__(self) -> str:
        if self.unit == "1":
            return plain(self.value, 6)
        word = _WORDS.get(self.unit, self.unit)
        return f"{plain(self.value, 0 if word == '%' and self.value >= _WHOLE_FROM else 2)} {word}"


@dataclass(frozen=True)
class Ground:
    """Why a cordon is proposed: what was measured, and the threshold that it passes.

    ``cordon``, ``inspection_id`` and ``season`` are empty for what is said of the vine.
    """

    reason: str
    measured: Amount
    threshold: Amount
    source: str
    cordon: str = ""
    inspection_id: uuid.UUID | None = None
    season: int | None = None

    @property
    def what(self) -> str:
        """Say what was measured, beside the threshold."""
        named = _COUNTED.get(self.reason)
        measured = counted(str(self.measured), *named) if named else str(self.measured)
        return _SAYS[self.reason].format(measured, self.threshold)

    @property
    def sentence(self) -> str:
        """Say it so that it can be read in the row."""
        return f"{_called(self.cordon)}, season {self.season}: {self.what}" if self.cordon else self.what


_SAYS: Final[dict[str, str]] = {
    Reason.BLANK_SHARE: "{0} of the spur positions blank (proposed from {1} on)",
    Reason.BLANK_LENGTH: "{0} of cordon blank (proposed from {1} on)",
    Reason.DIEBACK: "{0} dead from the end (proposed from {1} on)",
    Reason.FEW_POSITIONS: "{0} (proposed below {1})",
    Reason.YEARS_IN_DECLINE: "fewer positions lived in {0} running (proposed from {1} on)",
    Reason.MORE_THAN_ONE_CORDON: "{0} cordons of the vine fail, so the whole vine from the trunk",
}
#: What is counted where it may be one.
_COUNTED: Final[dict[str, tuple[str, ...]]] = {
    Reason.FEW_POSITIONS: ("spur position lives", "spur positions live"),
    Reason.YEARS_IN_DECLINE: ("inspected season",),
}


def more_than_one(cordons: int) -> Ground:
    """Give the ground on which the whole vine is proposed."""
    at_least = Amount(CORDONS_OF_A_WHOLE_VINE, "1")
    return Ground(Reason.MORE_THAN_ONE_CORDON, Amount(cordons, "1"), at_least, SCOPE_SOURCE)


def grounds_of(seen: FailingCordon, settings: CordonSettings) -> Iterator[Ground]:
    """Give a ground for each threshold that a cordon passes."""
    source = OF_THE_FARM if settings.block_id is None else OF_THE_BLOCK
    for reason, measured, threshold in _passed(seen, settings):
        yield Ground(reason, measured, threshold, source, seen.cordon, seen.inspection_id, seen.season)


def _passed(seen: FailingCordon, settings: CordonSettings) -> Iterator[tuple[Reason, Amount, Amount]]:
    """Give each threshold that is passed, beside what was measured, both as they were sent."""
    if seen.by_share:
        share = 100 * _number(seen.blank) / (_number(seen.blank) + _number(seen.living))
        yield Reason.BLANK_SHARE, Amount(round(share, 6), "%"), Amount(_number(settings.blank_share_percent), "%")
    if seen.by_blank:
        yield (
            Reason.BLANK_LENGTH,
            Amount(_number(seen.blank_length_value), seen.blank_length_unit or ""),
            Amount(_number(settings.blank_length_value), settings.blank_length_unit or ""),
        )
    if seen.by_dieback:
        yield (
            Reason.DIEBACK,
            Amount(_number(seen.dieback_length_value), seen.dieback_length_unit or ""),
            Amount(_number(settings.dieback_length_value), settings.dieback_length_unit or ""),
        )
    if seen.by_positions:
        fewest = Amount(_number(settings.fewest_living_positions), "1")
        yield Reason.FEW_POSITIONS, Amount(_number(seen.living), "1"), fewest
    if seen.by_decline:
        years = Amount(_number(settings.years_in_decline), "1")
        yield Reason.YEARS_IN_DECLINE, Amount(_number(seen.declined), "1"), years


def _number(value: Any) -> float:
    """Give a number that is there: the database compared it."""
    return float(value)


def _called(cordon: str) -> str:
    return f"{cordon.replace('_', ' ')} cordon" if cordon != "head" else "head"
