"""Column maps: which heading of a file means what, and what its columns owe each other."""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Final

from records.errors import NotValid
from records.units import UNITS, UnitError, canonical_code

#: What a column may mean to us; ``row`` must be there, and ``place`` is counted along the row where it is not.
MEANINGS: Final = ("row", "place", "label", "rootstock", "pruning_weight", "nodes_retained")
#: Kind of check → the members that it needs beside ``kind``; those of ``_NUMBERS`` are numbers, ``parts`` is a list.
CHECKS: Final = {
    "sum": ("total", "parts"),
    "not_less": ("column", "than"),
    "share_of_median": ("column", "least"),
    "range": ("column", "low", "high"),
}
_NUMBERS: Final = {"least", "low", "high"}
_TEXTS: Final = ("name", "about", "pruning_weight_unit", "season_said")
#: Members that hold texts of their own → which.
_OBJECTS: Final = {
    "headings": MEANINGS,
    "block": ("name", "training", "pruning_formula", "note"),
    "farm": ("name", "hemisphere", "time_zone"),
}
_MEMBERS: Final = (*_TEXTS, *_OBJECTS, "season", "checks")
_LONGEST: Final = 2_000


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

    def reading(self) -> str:
        """Give what decides how a file is read, so that the same file read otherwise is known to be another import."""
        unit = canonical_code(self.pruning_weight_unit)
        return json.dumps([dict(self.headings), unit, list(self.checks)], sort_keys=True)


def read_map(told: Any) -> ColumnMap:
    """Give the column map that a JSON document describes.

    Raises
    ------
    NotValid
        With a sentence that says what a map looks like.
    """
    if not isinstance(told, dict) or not isinstance(told.get("headings"), dict):
        raise _wrong('a column map is a JSON object with "headings", such as {"headings": {"row": "row"}}')
    _only_known(told, _MEMBERS, "a column map")
    for member in _TEXTS:
        _text(told.get(member, ""), member)
    for member, known in _OBJECTS.items():
        _texts(told.get(member, {}), member, known)
    if "row" not in told["headings"]:
        raise _wrong(f"the map's headings name columns for {', '.join(MEANINGS)}, and row must be among them")
    _season(told.get("season"))
    _unit(told.get("pruning_weight_unit", "kg"))
    _checks(told.get("checks", ()))
    return ColumnMap(**{"name": "sent with the file", **told})


def _only_known(told: Mapping[Any, Any], known: Sequence[str], what: str) -> None:
    unknown = told.keys() - set(known)
    if unknown:
        raise _wrong(f"{sorted(unknown)[0]!r} is no member of {what}; known are {', '.join(sorted(known))}")


def _text(value: Any, member: str) -> None:
    """Refuse what is no text of one or more plain lines: such a value could not be stored or shown."""
    if not isinstance(value, str) or len(value) > _LONGEST or any(map(_unwritable, value)):
        raise _wrong(
            f"the map's {member} is a text of at most {_LONGEST:,} characters, none of them a control character"
        )


def _unwritable(character: str) -> bool:
    return character not in "\n\t" and unicodedata.category(character) in {"Cc", "Cs"}


def _texts(value: Any, member: str, known: Sequence[str]) -> None:
    if not isinstance(value, dict):
        raise _wrong(f"the map's {member} is an object with {', '.join(known)}")
    _only_known(value, known, f"the {member} of a column map")
    for name, each in value.items():
        _text(each, f"{member}.{name}")


def _season(value: Any) -> None:
    if value is not None and (type(value) is not int or not 1900 <= value <= 2100):
        raise _wrong("the map's season is a harvest year from 1900 to 2100, or null")


def _unit(written: str) -> None:
    try:
        unit = UNITS[canonical_code(written)]
    except UnitError as error:
        raise _wrong(str(error).rstrip(".")) from error
    if unit.dimension != "mass":
        raise _wrong(f"{written!r} is no unit of mass, and prunings are weighed")


def _checks(told: Any) -> None:
    if not isinstance(told, list | tuple) or not all(isinstance(check, dict) for check in told):
        raise _wrong(
            'the map\'s checks are a list of objects, such as {"kind": "range", "column": "c", "low": 0, "high": 9}'
        )
    for check in told:
        kind = check.get("kind")
        needs = CHECKS.get(kind) if isinstance(kind, str) else None
        if needs is None or set(needs) | {"kind"} != check.keys():
            listed = "; ".join(f"{name} with {', '.join(members)}" for name, members in CHECKS.items())
            raise _wrong(f"the kinds of check are: {listed}")
        for member in needs:
            _check_member(check[member], member)


def _check_member(value: Any, member: str) -> None:
    if member in _NUMBERS:
        if type(value) not in {int, float} or not -1e15 < value < 1e15:
            raise _wrong(f"the {member} of a check is a number")
        return
    if member == "parts" and (not isinstance(value, list | tuple) or not value):
        raise _wrong("the parts of a check are a list of headings")
    for heading in value if member == "parts" else [value]:
        _text(heading, f"check's {member}")


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
