"""Play the invented day over HTTP, as the field app would: weigh, cut to the target, count again."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import httpx

from vineyard.demo.scenario import Scenario, VineVisit


@dataclass(frozen=True)
class Played:
    """One vine's visit as the service answered it."""

    visit: VineVisit
    record: dict[str, Any]
    is_new: bool

    @property
    def weight_as_sent(self) -> str:
        """The weight with its unit, as it was sent; a dash where the vine was not weighed."""
        sent = self.record["pruning_weight"]
        return f"{sent['value']:g} {sent['unit'].removeprefix('[').removesuffix('_av]')}" if sent else "–"


class Refused(Exception):
    """The service did not answer as the day expects; the message carries its own words."""


class FieldApp:
    """A field app that knows one farm, and nothing but the public API."""

    def __init__(self, base_url: str, key: str, scenario: Scenario) -> None:
        self.scenario = scenario
        self.farm = f"/api/v1/farms/{scenario.farm.id}"
        self.block = f"{self.farm}/blocks/{scenario.block.id}"
        headers = {"Authorization": f"Bearer {key}"}
        self.client = httpx.Client(base_url=base_url, headers=headers, timeout=30, trust_env=False)

    def vines(self) -> dict[tuple[int, int], str]:
        """Give the id of every vine of the block by row and place, page after page."""
        found: dict[tuple[int, int], str] = {}
        address: str | None = f"{self.block}/vines?limit=200"
        while address:
            page = self._ask("GET", address)
            found |= {(vine["row_number"], vine["place"]): vine["id"] for vine in page["results"]}
            address = page["next"]
        return found

    def play(self) -> Iterator[Played]:
        """Weigh every vine of the day and send the count of those that were counted."""
        vines = self.vines()
        for visit in self.scenario.visits:
            sent = {**visit.weighing, "vine": vines[visit.row, visit.place]}
            answer = self._send("POST", f"{self.farm}/dormant-records", sent, accepting=httpx.codes.CONFLICT)
            record = self._standing(answer) if answer.is_error else answer.json()
            is_ours = record["id"] == visit.weighing["id"]
            if is_ours and visit.nodes_retained is not None and record["nodes_retained"] is None:
                record = self._count(record, visit.nodes_retained)
            yield Played(visit, record, is_new=answer.status_code == httpx.codes.CREATED)

    def _standing(self, conflict: httpx.Response) -> dict[str, Any]:
        """Give the record that somebody else wrote for the vine, as ``serve --demo`` lets everybody do."""
        current = conflict.json().get("current") or {}
        if "id" not in current:
            raise Refused(f"A weighing was answered {words_of(conflict)}")
        return self._ask("GET", f"{self.farm}/dormant-records/{current['id']}")

    def _count(self, record: dict[str, Any], nodes: int) -> dict[str, Any]:
        address = f"{self.farm}/dormant-records/{record['id']}"
        version = f'"{record["version"]}"'
        counted: dict[str, Any] = self._send("PATCH", address, {"nodes_retained": nodes}, {"If-Match": version}).json()
        return counted

    def statistics(self) -> dict[str, Any]:
        """Give what the block's weights say together, in pounds."""
        return self._ask("GET", f"{self.block}/statistics?season={self.scenario.season}&unit=[lb_av]")

    def targets(self) -> dict[str, Any]:
        """Give the targets of the whole block."""
        return self._ask("GET", f"{self.block}/targets?season={self.scenario.season}")

    def _ask(self, method: str, address: str) -> dict[str, Any]:
        answer: dict[str, Any] = self._send(method, address).json()
        return answer

    def _send(
        self,
        method: str,
        address: str,
        body: dict[str, Any] | None = None,
        headers: dict[str, str] | None = None,
        *,
        accepting: int | None = None,
    ) -> httpx.Response:
        response = self.client.request(method, address, json=body, headers=headers)
        if response.is_error and response.status_code != accepting:
            raise Refused(f"{method} {address.partition('?')[0]} was answered {words_of(response)}")
        return response


def words_of(response: httpx.Response) -> str:
    """Give a refusal as the service words it."""
    try:
        problem = response.json()
        faults = [f"{fault.get('pointer', '')} {fault.get('detail', '')}" for fault in problem.get("errors", [])]
        return f"{response.status_code}: {' '.join([problem.get('detail', ''), *faults])}"
    except (ValueError, AttributeError):
        return f"{response.status_code}, which is no answer of this service"
