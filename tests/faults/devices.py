"""Phones that were offline: what each has to tell, and how it goes on telling until it was heard."""

from __future__ import annotations

import json
import random
import uuid
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from tests.faults.ground import Ground
from tests.faults.phone import LOSE_REPLY, NoReply, Phone, Reply

KINDS_SENT = ("dormant_record", "bud_sample", "cluster_count", "cordon_inspection")
#: A number of each kind that a change sets, and how it changes alone.
COUNTED = {
    "dormant_record": "nodes_retained",
    "bud_sample": "canes",
    "cluster_count": "lag_phase_clusters",
    "cordon_inspection": "upright_spurs",
}
PATHS = {kind: kind.replace("_", "-") + "s" for kind in KINDS_SENT}
IN_A_BATCH = 60


@dataclass(frozen=True)
class Operation:
    """One thing that a device tells: of which record, which version of it that makes, and what it then says."""

    does: str  # create, change, correct (alone), withdraw
    kind: str
    id: str
    makes: int
    body: dict[str, Any] = field(hash=False, compare=False)

    @property
    def bulk(self) -> bool:
        return self.does in {"create", "change"}


def operations_of(device: int, ground: Ground, clock: timedelta, counts: dict[str, int]) -> list[Operation]:
    """Give what a device has to tell, the same for every order: records of its own, changed and withdrawn by itself."""
    told: list[Operation] = []
    for n in range(counts["create"]):
        turn = device * counts["create"] + n
        kind = KINDS_SENT[turn % len(KINDS_SENT)]
        body = {**ground.record(kind, turn), "id": str(uuid.uuid5(uuid.NAMESPACE_OID, f"{device} {n}")), "kind": kind}
        body["observed_at"] = (datetime.fromisoformat(body["observed_at"]) + clock).isoformat()
        told.append(Operation("create", kind, body["id"], 1, body))
    for n in range(counts["change"]):  # every second record that is changed at all, twice
        first = told[n * 2 // 3]
        makes = 2 + sum(each.id == first.id for each in told[counts["create"] :])
        told.append(Operation("change", first.kind, first.id, makes, {**first.body, COUNTED[first.kind]: 20 + makes}))
    for does, count, skipped in (
        ("correct", counts["correct"], 0),
        ("withdraw", counts["withdraw"], counts["correct"]),
    ):
        for first in told[counts["create"] - 1 - skipped : counts["create"] - 1 - skipped - count : -1]:
            told.append(Operation(does, first.kind, first.id, 2, {**first.body, COUNTED[first.kind]: 50}))
    return told


class Device:
    """Sends its operations in an order of its own; what builds on a version waits until that one was acknowledged."""

    def __init__(self, told: list[Operation], ground: Ground, phone: Phone, dice: random.Random) -> None:
        self._waiting = {(each.id, each.makes): each for each in told}
        self._done: list[Operation] = []
        self._ground, self._phone, self._dice = ground, phone, dice
        self.acknowledged: list[Operation] = []
        self.wrong: list[Any] = []
        self.sent_again = self.lost = 0

    def tell_all(self) -> None:
        """Send everything, three in ten of it twice, with one reply in five lost."""
        twice = self._dice.sample(sorted(self._waiting), len(self._waiting) * 3 // 10)
        again = [self._waiting[key] for key in twice]
        while self._waiting:
            ready = [each for each in self._waiting.values() if (each.id, each.makes - 1) not in self._waiting]
            does = self._dice.choice(ready).does
            batch = [each for each in ready if each.does == does]
            self._tell(self._dice.sample(batch, min(IN_A_BATCH if batch[0].bulk else 1, len(batch))), self._first)
            late = [each for each in again if (each.id, each.makes) not in self._waiting]
            if len(late) > IN_A_BATCH or not self._waiting:
                again = [each for each in again if each not in late]
                self._tell_again(late)
        self._tell_again(again)

    def _tell_again(self, late: list[Operation]) -> None:
        """Repeat what was heard long ago, as a phone does whose memory was put back."""
        self.sent_again += len(late)
        for does in ("create", "change", "correct", "withdraw"):
            same = [each for each in late if each.does == does]
            size = IN_A_BATCH if does in {"create", "change"} else 1
            for at in range(0, len(same), size):
                part = {each.id: each for each in same[at : at + size]}  # a record once in a request
                self._tell(list(part.values()), self._repeated)

    def _tell(self, batch: list[Operation], heard: Callable[[Operation, str, int], None]) -> None:
        for operation, status, version in self._outcomes(batch):
            heard(operation, status, version)

    def _first(self, operation: Operation, status: str, version: int) -> None:
        if version != operation.makes or status not in {"created", "updated", "unchanged", "200"}:
            self.wrong.append((operation.does, operation.id, "first", status, version, operation.makes))
        self.acknowledged.append(operation)
        del self._waiting[(operation.id, operation.makes)]

    def _repeated(self, operation: Operation, status: str, version: int) -> None:
        """A repeat changes nothing: it is known again, or told that a later version or a withdrawal stands."""
        if status not in {"unchanged", "200", "stale", "withdrawn"}:
            self.wrong.append((operation.does, operation.id, "again", status, version, operation.makes))

    def _outcomes(self, batch: list[Operation]) -> Iterable[tuple[Operation, str, int]]:
        if batch[0].bulk:
            results = self._until_heard(*_bulk(self._ground, batch)).json()["results"]
            self.wrong += [
                (each.id, result) for each, result in zip(batch, results, strict=True) if result["id"] != each.id
            ]
            return [
                (operation, result.get("error", {}).get("code", result["status"]), result.get("version", 0))
                for operation, result in zip(batch, results, strict=True)
            ]
        reply = self._until_heard(*_alone(self._ground, batch[0]))
        said = reply.json()
        return [(batch[0], str(said.get("code", reply.status)), said.get("version", 0))]

    def _until_heard(self, method: str, path: str, body: bytes | None, headers: dict[str, Any]) -> Reply:
        while self._dice.random() < 0.2:
            self.lost += 1
            try:
                self._phone.send(method, path, body, **headers, **{LOSE_REPLY: "yes"})
            except NoReply:
                continue
            raise AssertionError("a reply that should have been lost arrived")
        return self._phone.insist(method, path, body, **headers)


def _bulk(ground: Ground, batch: list[Operation]) -> tuple[str, str, bytes, dict[str, str]]:
    """A change names the version that it is of; without that, an old one would write over a newer one."""
    changes = batch[0].does == "change"
    lines = [{**each.body, "base_version": each.makes - 1} if changes else each.body for each in batch]
    path = f"{ground.url}/records?on_conflict={'update' if changes else 'error'}"
    return "POST", path, "\n".join(map(json.dumps, lines)).encode(), {"Content_Type": "application/x-ndjson"}


def _alone(ground: Ground, operation: Operation) -> tuple[str, str, bytes | None, dict[str, str]]:
    path = f"{ground.url}/{PATHS[operation.kind]}/{operation.id}"
    version = {"If_Match": f'"{operation.makes - 1}"'}
    if operation.does == "withdraw":
        return "DELETE", path, None, version
    member = COUNTED[operation.kind]
    return "PATCH", path, json.dumps({member: operation.body[member]}).encode(), version
