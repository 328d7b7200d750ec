"""Farms to work on, and every kind of thing that an app creates on them, as it would send it."""

from __future__ import annotations

import itertools
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

from tests.faults.phone import Phone

SEASONS = range(1950, 2090)


@dataclass(frozen=True)
class Create:
    """One request that creates a thing under an id of the client's own, and the table it ends in."""

    path: str
    body: dict[str, Any]
    table: str

    @property
    def id(self) -> str:
        return str(self.body["id"])


@dataclass
class Ground:
    """One farm with a block and a row of vines."""

    farm: str
    block: str
    vines: list[str]
    _turns: Iterator[int] = field(default_factory=itertools.count)

    @property
    def url(self) -> str:
        return f"/farms/{self.farm}"

    def weighing(self, turn: int | None = None) -> dict[str, Any]:
        """Give the body of a dormant record that no other turn gives: of another vine or another season."""
        turn = next(self._turns) if turn is None else turn
        season, vine = divmod(turn, len(self.vines))
        return {
            "id": str(uuid.uuid4()),
            "vine": self.vines[vine],
            "observed_at": f"{SEASONS[season]}-01-16T10:02:00-05:00",
            "pruning_weight": {"value": round(1 + turn % 97 / 10, 1), "unit": "lb"},
        }


def make_ground(phone: Phone, vines: int = 100) -> Ground:
    """Create a farm with one row of vines."""
    farm, block = str(uuid.uuid4()), str(uuid.uuid4())
    stands(phone.send("POST", "/farms", _farm(farm)))
    stands(phone.send("POST", f"/farms/{farm}/blocks", {"id": block, "name": "Lower Terrace"}))
    stands(phone.send("POST", f"/farms/{farm}/blocks/{block}/rows", {"number": 1, "vines": vines}))
    listed = phone.send("GET", f"/farms/{farm}/blocks/{block}/vines?limit=500")
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


def _new_dormant_record(ground: Ground, turn: int) -> Create:
    return Create(f"{ground.url}/dormant-records", ground.weighing(turn), "dormant_record")


#: Every kind of thing that a client creates under an id of its own.
CREATES: dict[str, Callable[[Ground, int], Create]] = {
    "farms": _new_farm,
    "blocks": _new_block,
    "rows": _new_row,
    "vines": _new_vine,
    "dormant-records": _new_dormant_record,
}
