"""Farms to work on, and every kind of thing that an app creates on them, as it would send it."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from records.api.kind_examples import NEW
from records.kinds import KINDS, Kind
from tests.faults.phone import Phone

SEASONS = range(2001, 2090)


@dataclass(frozen=True)
class Create:
    """One request that creates a thing under an id of the client's own, and the table it ends in."""

    path: str
    body: Any
    table: str

    @property
    def id(self) -> str:
        return str(self.body["id"])

    @property
    def ids(self) -> list[str]:
        """Give the ids of all that it creates, in its order."""
        return [self.id]

    def is_answered_by(self, said: Any) -> bool:
        return bool(said["id"] == self.id)


class CreateMany(Create):
    """One request that creates many records, each of which is answered for in its place."""

    @property
    def ids(self) -> list[str]:
        return [each["id"] for each in self.body]

    def is_answered_by(self, said: Any) -> bool:
        stored = [each["id"] for each in said["results"] if each["status"] in {"created", "unchanged"}]
        return stored == self.ids


@dataclass
class Ground:
    """One farm with a block and a row of vines."""

    farm: str
    block: str
    vines: list[str]

    @property
    def url(self) -> str:
        return f"/farms/{self.farm}"

    def record(self, kind: str, turn: int) -> dict[str, Any]:
        """Give a record of a kind as its documentation sends it, in a place and season that no other turn gives."""
        season, vine = divmod(turn, len(self.vines))
        year = str(SEASONS[season])
        sent = {**NEW[kind], "id": str(uuid.uuid4())}
        sent["vine" if "vine" in sent else "block"] = self.vines[vine] if "vine" in sent else self.block
        dates = {name: value.replace("2027", year) for name, value in sent.items() if str(value).startswith("2027-")}
        return {**sent, **dates}

    def weighing(self, turn: int) -> dict[str, Any]:
        """Give the dormant record of a turn, with a weight of its own."""
        return {**self.record("dormant_record", turn), "pruning_weight": {"value": 1 + turn % 97 / 8, "unit": "lb"}}


def make_ground(phone: Phone, vines: int = 100) -> Ground:
    """Create a farm with one row of vines."""
    farm, block = str(uuid.uuid4()), str(uuid.uuid4())
    stands(phone.send("POST", "/farms", _farm(farm)))
    stands(phone.send("POST", f"/farms/{farm}/blocks", {"id": block, "name": "Lower Terrace"}))
    stands(phone.send("POST", f"/farms/{farm}/blocks/{block}/rows", {"number": 1, "vines": vines}))
    listed = phone.send("GET", f"/farms/{farm}/blocks/{block}/vines?limit=500")
    assert vines <= 500, "more than one page"
    return Ground(farm, block, [vine["id"] for vine in listed.json()["results"]])


def stands(reply: Any) -> None:
    assert reply.status == 201, reply.content


def _farm(farm: str) -> dict[str, Any]:
    return {"id": farm, "name": f"Farm {farm[:8]} (invented)", "hemisphere": "north", "time_zone": "America/New_York"}


def _new_farm(ground: Ground, turn: int) -> Create:
    return Create("/farms", _farm(str(uuid.uuid4())), "farm")


def _new_block(ground: Ground, turn: int) -> Create:
    return Create(f"{ground.url}/blocks", {"id": str(uuid.uuid4()), "name": f"Block {turn}"}, "block")


def _new_row(ground: Ground, turn: int) -> Create:
    body = {"id": str(uuid.uuid4()), "number": 1000 + turn, "vines": 3}
    return Create(f"{ground.url}/blocks/{ground.block}/rows", body, "row")


def _new_vine(ground: Ground, turn: int) -> Create:
    body = {"id": str(uuid.uuid4()), "row_number": 1, "place": 1000 + turn}
    return Create(f"{ground.url}/blocks/{ground.block}/vines", body, "vine")


def _new_record(kind: Kind) -> Callable[[Ground, int], Create]:
    return lambda ground, turn: Create(f"{ground.url}/{kind.path}", ground.record(kind.name, turn), kind.name)


#: Every kind of thing that a client creates under an id of its own.
CREATES: dict[str, Callable[[Ground, int], Create]] = {
    "farms": _new_farm,
    "blocks": _new_block,
    "rows": _new_row,
    "vines": _new_vine,
    **{kind.path: _new_record(kind) for kind in KINDS.values()},
}


def new_weighing(ground: Ground, turn: int) -> Create:
    return Create(f"{ground.url}/dormant-records", ground.weighing(turn), "dormant_record")


def new_weighings(ground: Ground, turns: Sequence[int]) -> Create:
    """Give one request with the weighings of many turns."""
    lines = [{**ground.weighing(turn), "kind": "dormant_record"} for turn in turns]
    return CreateMany(f"{ground.url}/records", lines, "dormant_record")
