"""The five invented years as their files give them: what is sent, in which order, with which ids."""

from __future__ import annotations

import csv
import json
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

from vineyard.demo.scenario import FarmPlan, Scenario

_STAGE: Final = "modified_eichhorn_lorenz"
#: Files of a block → the kind of record in them, and the column of ``visits.csv`` that tells the day.
_TABLES: Final = {
    "inspections": ("cordon_inspection", "inspected_on"),
    "weighings": ("dormant_record", "weighed_on"),
    "harvests": ("harvest_record", "picked_on"),
    "events": ("vine_event", ""),
}
_COUNTS: Final = {"living_positions", "blank_positions", "nodes_retained", "vines_picked", "clusters"}


@dataclass(frozen=True)
class CasePlan:
    """One case: the request that opens it, its steps, and why it was withdrawn if it was a mistake."""

    opening: dict[str, Any]
    steps: tuple[dict[str, Any], ...]
    withdrawn: str


@dataclass(frozen=True)
class BlockYears:
    """The years of one block, as requests whose vines are still named by row and place."""

    id: uuid.UUID
    name: str
    records: tuple[dict[str, Any], ...]
    cases: tuple[CasePlan, ...]


@dataclass(frozen=True)
class FarmYears:
    """The years of one farm."""

    id: uuid.UUID
    name: str
    settings: tuple[dict[str, Any], ...]
    blocks: tuple[BlockYears, ...]


def read_years(folder: Path, scenario: Scenario) -> list[FarmYears]:
    """Read the years of the farms that the scenario names."""
    plan = scenario.five_years
    return [_Reader(folder / plan.folder / code, code, scenario.farms[code]).farm() for code in plan.farms]


class _Reader:
    """Reads the files of one farm; every id follows from the farm's and from what the line is about."""

    def __init__(self, folder: Path, code: str, farm: FarmPlan) -> None:
        self.folder, self.code, self.plan = folder, code, farm
        self.zone = ZoneInfo(farm.columns["time_zone"])

    def farm(self) -> FarmYears:
        told = json.loads((self.folder / "cordon_settings.json").read_text(encoding="utf-8"))
        blocks = tuple(self._block(code) for code in self.plan.blocks)
        settings = tuple(self._settings(each) for each in told)
        return FarmYears(self.plan.id, self.plan.columns["name"], settings, blocks)

    def _settings(self, told: dict[str, Any]) -> dict[str, Any]:
        code = told["block"]
        of_a_block = {"block": str(self.plan.blocks[code].id)} if code else {}
        return {**told, "block": None, **of_a_block, "id": self._id("cordon_settings", code or "farm")}

    def _block(self, code: str) -> BlockYears:
        folder, plan = self.folder / code, self.plan.blocks[code]
        visits = {int(row["season"]): row for row in _rows(folder / "visits.csv")}
        records = [self._record(code, table, row, visits) for table in _TABLES for row in _of(folder, table)]
        with (folder / "cases.ndjson").open(encoding="utf-8") as lines:
            cases = tuple(self._case(code, json.loads(line)) for line in lines)
        return BlockYears(plan.id, plan.columns["name"], tuple(records), cases)

    def _record(
        self, code: str, table: str, row: dict[str, str], visits: Mapping[int, dict[str, str]]
    ) -> dict[str, Any]:
        kind, when = _TABLES[table]
        said = {name: value for name, value in map(_member, row.items()) if value is not None}
        season, place = said.pop("season", None), (said.pop("row", None), said.pop("place", None))
        day = visits[season][when] if when else said["happened_on"]
        about = (season or day, *place, said.get("cordon", ""), said.get("event", ""))
        record = {"kind": kind, "id": self._id(code, kind, *about), "observed_at": self._at(day, place), **said}
        if kind == "cordon_inspection":
            record["growth_stage"] = {"scale": _STAGE, "code": visits[season]["growth_stage"]}
        if kind == "harvest_record":
            record["scope"] = "block" if place[0] is None else "vine"
        return record | ({"block": str(self.plan.blocks[code].id)} if place[0] is None else {"vine": place})

    def _case(self, code: str, told: dict[str, Any]) -> CasePlan:
        place = (told["row"], told["place"])
        season, cordon = told["inspected"]
        opening = {name: told[name] for name in ("scope", "noticed_on", "reasons")}
        opening |= {"id": self._id(code, "case", told["case"]), "vine": place}
        opening |= {"inspection": self._id(code, "cordon_inspection", season, *place, cordon, "")}
        if told["cordon"]:
            opening["cordon"] = told["cordon"]
        steps = tuple(
            {**step, "id": self._id(code, "case", told["case"], number)} for number, step in enumerate(told["steps"])
        )
        return CasePlan(opening, steps, told.get("withdrawn", ""))

    def _at(self, day: str, place: tuple[Any, Any]) -> str:
        """Give an hour of the day: rows are walked one after the other."""
        row, vine = place[0] or 0, place[1] or 0
        walked = timedelta(minutes=30 * row + vine // 2)
        return (datetime.combine(date.fromisoformat(day), time(8), tzinfo=self.zone) + walked).isoformat()

    def _id(self, *about: Any) -> str:
        return str(uuid.uuid5(self.plan.id, "/".join(map(str, about))))


def _of(folder: Path, table: str) -> Iterator[dict[str, str]]:
    return _rows(folder / f"{table}.csv")


def _rows(file: Path) -> Iterator[dict[str, str]]:
    with file.open(encoding="utf-8", newline="") as opened:
        yield from csv.DictReader(opened)


def _member(cell: tuple[str, str]) -> tuple[str, Any]:
    """Turn a cell into a member: its heading says the unit of a measure; an empty cell was not said."""
    name, _, unit = cell[0].partition(" ")
    return name, None if cell[1] == "" else _value(name, unit, cell[1])


def _value(name: str, unit: str, text: str) -> Any:
    if unit:
        return {"value": float(text), "unit": unit}
    if name in _COUNTS or name in {"season", "row", "place"}:
        return int(text)
    if name == "disease_signs":
        return text.split("+")
    return True if text == "true" else text
