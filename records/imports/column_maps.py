"""Column maps: which heading of a file means what, and what its columns owe each other."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Final

from records.errors import NotValid
from records.units import UnitError, canonical_code

#: What a column may mean to us; ``row`` must be there, and ``place`` is counted along the row where it is not.
MEANINGS: Final = ("row", "place", "label", "rootstock", "pruning_weight", "nodes_retained")
#: Kind of check → the members that it needs beside ``kind``.
CHECKS: Final = {
    "sum": {"total", "parts"},
    "not_less": {"column", "than"},
    "share_of_median": {"column", "least"},
    "range": {"column", "low", "high"},
}
_MEMBERS: Final = {
    "name",
    "about",
    "headings",
    "pruning_weight_unit",
    "season",
    "season_said",
    "block",
    "farm",
    "checks",
}


@dataclass(frozen=True)
class ColumnMap:
    """One column map.

    ``headings`` gives the heading for each meaning; ``block`` what a block made for the file says of itself;
    ``farm`` what a farm made for it says (only the command line makes one); ``checks`` what is doubtful.
    """

    name: str
    headings: Mapping[str, str]
    pruning_weight_unit: str = "kg"
    about: str = ""
    season: int | None = None
    season_said: str = ""
    block: Mapping[str, Any] = field(default_factory=dict)
    farm: Mapping[str, Any] = field(default_factory=dict)
    checks: Sequence[Mapping[str, Any]] = ()

    @property
    def needed(self) -> set[str]:
        """Every heading that the map speaks of."""
        checked: set[str] = set()
        for check in self.checks:
            checked |= {check[name] for name in ("column", "than", "total") if name in check}
            checked |= set(check.get("parts", ()))
        return set(self.headings.values()) | checked

    def as_json(self) -> dict[str, Any]:
        return asdict(self)


def read_map(told: Any) -> ColumnMap:
    """Give the column map that a JSON document describes.

    Raises
    ------
    NotValid
        With a sentence that says what a map looks like.
    """
    if not isinstance(told, dict) or not isinstance(told.get("headings"), dict):
        raise _wrong('a column map is a JSON object with "headings", such as {"headings": {"row": "row"}}')
    unknown = told.keys() - _MEMBERS
    if unknown:
        raise _wrong(f"{sorted(unknown)[0]!r} is no member of a column map; known are {', '.join(sorted(_MEMBERS))}")
    strange = told["headings"].keys() - set(MEANINGS)
    if strange or "row" not in told["headings"] or not all(isinstance(h, str) for h in told["headings"].values()):
        raise _wrong(f"its headings name columns for {', '.join(MEANINGS)}, as text, and row must be among them")
    for check in told.get("checks", ()):
        needs = CHECKS.get(check.get("kind", "")) if isinstance(check, dict) else None
        if needs is None or not needs <= check.keys():
            raise _wrong(f"a check is one of {', '.join(CHECKS)}, with its members")
    try:
        canonical_code(str(told.get("pruning_weight_unit", "kg")))
    except UnitError as error:
        raise _wrong(str(error)) from error
    return ColumnMap(**{"name": "sent with the file", **told})


def shipped_maps(folder: Path) -> dict[str, ColumnMap]:
    """Give the column maps that come with the service, by name."""
    return {path.stem: read_map(json.loads(path.read_text(encoding="utf-8"))) for path in sorted(folder.glob("*.json"))}


def map_for(headings: Sequence[str], maps: Mapping[str, ColumnMap]) -> ColumnMap:
    """Give the shipped map that fits the headings of a file; the one that speaks of most of them.

    Raises
    ------
    NotValid
        None fits; the sentence names the headings found and what the nearest map lacks.
    """
    fitting = [each for each in maps.values() if each.needed <= set(headings)]
    if fitting:
        return max(fitting, key=lambda each: len(each.needed))
    nearest = min(maps.values(), key=lambda each: len(each.needed - set(headings)))
    lacking = ", ".join(sorted(nearest.needed - set(headings)))
    raise _wrong(
        f"no column map fits the headings {', '.join(headings)}. The nearest is {nearest.name!r}, which also needs "
        f"{lacking}. Send a map of your own, written like the ones in fixtures/column_maps"
    )


def _wrong(sentence: str) -> NotValid:
    return NotValid.at("map", code="column_map", detail=f"{sentence[0].upper()}{sentence[1:]}.")
