"""The invented scenario as its files give it; nothing here touches a database or the network."""

from __future__ import annotations

import csv
import json
import uuid
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any


@dataclass(frozen=True)
class Part:
    """One person of the cast."""

    code: str
    name: str
    email: str


@dataclass(frozen=True)
class KeyPlan:
    """One key that a run makes: in whose name, for what, and for which farm alone if it is for one."""

    code: str
    person: str
    scopes: tuple[str, ...]
    app: str = ""
    farm: str | None = None


@dataclass(frozen=True)
class RowPlan:
    """One row, and how many vines stand in it."""

    id: uuid.UUID
    number: int
    vines: int


@dataclass(frozen=True)
class BlockPlan:
    """One block with its rows."""

    id: uuid.UUID
    columns: dict[str, Any]
    rows: tuple[RowPlan, ...]


@dataclass(frozen=True)
class ConsentPlan:
    """One consent that the farm's owner gives: to a person of the cast, or to the program."""

    purpose: str
    person: str | None = None
    rights: tuple[str, ...] | None = None


@dataclass(frozen=True)
class FarmPlan:
    """One farm, who is what on it, whom its owner lets in, and its blocks by code."""

    id: uuid.UUID
    columns: dict[str, Any]
    in_program: bool
    roles: dict[str, str]
    consents: tuple[ConsentPlan, ...]
    blocks: dict[str, BlockPlan]


@dataclass(frozen=True)
class VineVisit:
    """What is written down about one vine on the day: the request to weigh it, and the count kept afterwards."""

    row: int
    place: int
    weighing: dict[str, Any]
    nodes_retained: int | None


@dataclass(frozen=True)
class PastRecord:
    """One record of an earlier year about one vine of the day's block: what a bulk line says but for the vine's id."""

    row: int
    place: int
    said: dict[str, Any]


@dataclass(frozen=True)
class FiveYearsPlan:
    """Where the five years are, of which farms, whose key sends them, and which winter is their last."""

    folder: str
    key: str
    last_winter: int
    farms: tuple[str, ...]


@dataclass(frozen=True)
class Scenario:
    """The whole scenario."""

    season: int
    program: dict[str, str]
    people: dict[str, Part]
    keys: dict[str, KeyPlan]
    farms: dict[str, FarmPlan]
    day_farm: str
    day_block: str
    visits: tuple[VineVisit, ...]
    history: tuple[PastRecord, ...]
    five_years: FiveYearsPlan

    @property
    def farm(self) -> FarmPlan:
        """The farm where the day is played."""
        return self.farms[self.day_farm]

    @property
    def block(self) -> BlockPlan:
        """The block where the day is played."""
        return self.farm.blocks[self.day_block]

    @property
    def other_farm(self) -> FarmPlan:
        """A farm that the people of the first must never see."""
        return next(farm for code, farm in self.farms.items() if code != self.day_farm)


def read_scenario(folder: Path) -> Scenario:
    """Read the scenario from its folder."""
    told = json.loads((folder / "scenario.json").read_text(encoding="utf-8"))
    space = uuid.UUID(told["id_space"])
    day = told["day"]
    with (folder / day["weighings"]).open(encoding="utf-8", newline="") as file:
        visits = tuple(_visit(space, day, row) for row in csv.DictReader(file))
    lines = (folder / day["history"]).read_text(encoding="utf-8").splitlines()
    return Scenario(
        season=told["season"],
        program=told["program"],
        people={code: Part(code, **person) for code, person in told["people"].items()},
        keys={code: KeyPlan(code, **_scopes(key)) for code, key in told["keys"].items()},
        farms={code: _farm(space, code, farm) for code, farm in told["farms"].items()},
        day_farm=day["farm"],
        day_block=day["block"],
        visits=visits,
        history=tuple(_past(space, day, json.loads(line)) for line in lines),
        five_years=FiveYearsPlan(**{**told["five_years"], "farms": tuple(told["five_years"]["farms"])}),
    )


def _scopes(key: dict[str, Any]) -> dict[str, Any]:
    return {**key, "scopes": tuple(key["scopes"])}


def _farm(space: uuid.UUID, code: str, told: dict[str, Any]) -> FarmPlan:
    kept_apart = {"in_program", "roles", "consents", "blocks"}
    return FarmPlan(
        id=uuid.uuid5(space, code),
        columns={name: value for name, value in told.items() if name not in kept_apart},
        in_program=told["in_program"],
        roles=told["roles"],
        consents=tuple(_consent(consent) for consent in told.get("consents", [])),
        blocks={name: _block(space, f"{code}/{name}", block) for name, block in told["blocks"].items()},
    )


def _consent(told: dict[str, Any]) -> ConsentPlan:
    rights = tuple(told["rights"]) if "rights" in told else None
    return ConsentPlan(told["purpose"], told.get("person"), rights)


def _block(space: uuid.UUID, code: str, told: dict[str, Any]) -> BlockPlan:
    columns = {name: value for name, value in told.items() if name != "rows"}
    rows = (RowPlan(uuid.uuid5(space, f"{code}/{row}"), int(row), vines) for row, vines in told["rows"].items())
    return BlockPlan(uuid.uuid5(space, code), columns, tuple(rows))


def _visit(space: uuid.UUID, day: dict[str, Any], told: dict[str, str]) -> VineVisit:
    """Turn one line into the request that the field app sends; its id makes sending again safe."""
    row, place, unit = int(told["row"]), int(told["place"]), told["unit"]
    name = f"{day['farm']}/{day['block']}/{row}/{place}/{told['observed_at']}"
    weighing: dict[str, Any] = {"id": str(uuid.uuid5(space, name)), "observed_at": told["observed_at"]}
    for quantity in ("pruning_weight", "scale_resolution", "guessed_weight"):
        weighing[quantity] = {"value": _number(told[quantity]), "unit": unit}
    weighing["scale"], weighing["pruner"] = told["scale"], told["pruner"]
    weighing["rough_prune_margin_nodes"] = int(told["rough_prune_margin_nodes"])
    kept = told["nodes_retained"]
    return VineVisit(row, place, weighing, int(kept) if kept else None)


def _past(space: uuid.UUID, day: dict[str, Any], told: dict[str, Any]) -> PastRecord:
    row, place = told.pop("row"), told.pop("place")
    name = f"{day['farm']}/{day['block']}/{row}/{place}/{told['kind']}/{told['observed_at']}"
    return PastRecord(row, place, {**told, "id": str(uuid.uuid5(space, name))})


def _number(text: str) -> int | float:
    """Give the JSON number that reads as the text did: 2 stays 2."""
    number = Decimal(text)
    return int(number) if number == number.to_integral_value() else float(number)
