"""Eight clients write, correct and withdraw at once; what is kept of every block and season is what the records say."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
import uuid
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import pytest

from tests.faults.ground import Ground
from tests.faults.hands import all_at_once
from tests.faults.phone import Phone
from tests.faults.service import ROOT

pytestmark = [pytest.mark.slow, pytest.mark.timeout(900)]
CLIENTS, WRITES = 8, 10_000
SEASONS = range(2016, 2028)


@dataclass
class Client:
    """One app: its own choice of what to write, and what stands by its doing."""

    phone: Phone
    ground: Ground
    dice: random.Random
    made: dict[str, tuple[str, int]] = field(default_factory=dict)
    told: Counter[str] = field(default_factory=Counter)

    def go_on(self, writes: int) -> None:
        while self.told.total() < writes:
            chance = self.dice.random()
            if chance < 0.3 or not self.made:
                self._many()
            elif chance < 0.75:
                self._correct()
            else:
                self._withdraw()

    def _many(self) -> None:
        lines = [self.dice.choice((self._weighing, self._harvest, self._inspection, self._event))() for _ in range(9)]
        body = "\n".join(json.dumps(line) for line in lines).encode()
        reply = self.phone.send("POST", f"{self.ground.url}/records", body, Content_Type="application/x-ndjson")
        assert reply.status in {200, 207}, reply.content
        for line, result in zip(lines, reply.json()["results"], strict=True):
            if result["status"] == "created":  # or another client has the place of that vine and season
                self.told["created"] += 1
                self.made[line["id"]] = (line["kind"], 1)

    def _correct(self) -> None:
        record, (kind, version) = self.dice.choice(list(self.made.items()))
        changes: dict[str, dict[str, Any]] = {
            "dormant_record": {"pruning_weight": {"value": round(self.dice.uniform(0, 8), 2), "unit": "[lb_av]"}},
            "harvest_record": {"yield": {"value": round(self.dice.uniform(1, 30), 2), "unit": "[lb_av]"}},
            "cordon_inspection": {"blank_positions": self.dice.randrange(9)},
            "vine_event": {"note": "Seen again."},
        }
        path = f"{self.ground.url}/{kind.replace('_', '-')}s/{record}"
        headers = {"If_Match": f'"{version}"'}
        reply = self.phone.send("PATCH", path, {**changes[kind], "reason": "Read again."}, **headers)
        assert reply.status == 200, reply.content
        self.told["corrected"] += 1
        self.made[record] = (kind, reply.json().get("version") or reply.json()["record"]["version"])

    def _withdraw(self) -> None:
        record = self.dice.choice(list(self.made))
        kind, version = self.made.pop(record)
        path = f"{self.ground.url}/{kind.replace('_', '-')}s/{record}?reason=Twice"
        reply = self.phone.send("DELETE", path, If_Match=f'"{version}"')
        assert reply.ok, reply.content
        self.told["withdrawn"] += 1

    def _line(self, kind: str, day: str, **said: Any) -> dict[str, Any]:
        when = f"{self.dice.choice(SEASONS)}-{day}T10:00:00-05:00"
        vine = self.dice.choice(self.ground.vines)
        return {"kind": kind, "id": str(uuid.UUID(int=self.dice.getrandbits(128), version=4)), "vine": vine,
                "observed_at": when, **said}  # fmt: skip

    def _weighing(self) -> dict[str, Any]:
        weight = {"value": round(self.dice.uniform(0, 8), 2), "unit": "[lb_av]"}
        more = {"scale_resolution": {"value": 0.25, "unit": "[lb_av]"}} if self.dice.random() < 0.5 else {}
        return self._line(
            "dormant_record", "01-16", pruning_weight=weight, nodes_retained=self.dice.randrange(90), **more
        )

    def _harvest(self) -> dict[str, Any]:
        return self._line("harvest_record", "09-20", scope="vine", **{"yield": {"value": 9.5, "unit": "kg"}})

    def _inspection(self) -> dict[str, Any]:
        living, blank = self.dice.randrange(12), self.dice.randrange(6)
        return self._line("cordon_inspection", "01-17", cordon=self.dice.choice(("left", "right")),
                          living_positions=living, blank_positions=blank)  # fmt: skip

    def _event(self) -> dict[str, Any]:
        return self._line("vine_event", "01-15", event=self.dice.choice(("missing", "replanted", "planted")))


def test_rollups_equal_a_recount_after_ten_thousand_writes_from_eight_clients(service, ground: Ground):
    blocks = service.phone().send("PATCH", f"{ground.url}/blocks/{ground.block}", {"pruning_formula": "american-30-10-lb"},
                                  If_Match="*")  # fmt: skip
    assert blocks.status == 200, blocks.content

    def write(hand: int) -> Counter[str]:
        client = Client(service.phone(), ground, random.Random(hand))
        client.go_on(WRITES // CLIENTS)
        return client.told

    told = sum(all_at_once(CLIENTS, write), Counter())
    left = service.ask("SELECT count(*) FROM block_season_mark WHERE season > 0")[0][0]
    print(f"summaries at once: {dict(told)}, marks left to a reader {left}")
    assert told["created"] > 1000 and told["corrected"] > 1000 and told["withdrawn"] > 500
    assert differences(service, ground) == ""


def differences(service: Any, ground: Ground) -> str:
    """Let the service's own command recount; gives what it found."""
    command = [sys.executable, "manage.py", "check_summaries", "--farm", ground.farm]
    environment = {**os.environ, **service.stack.environment()}
    said = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    return "" if said.returncode == 0 else said.stdout + said.stderr
