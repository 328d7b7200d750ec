"""Blocks of the cast's farm with seasons on record, and ways to ask what they come to; all invented."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from typing import Any

from tests.balance.api.plot import Plot

#: Invented weights [kg].
WEIGHTS = (0.9, 1.6, 1.2, 0.7, 1.4, 1.1, 1.9, 1.3, 1.0, 0.8, 1.5, 1.2)


class Seasons(Plot):
    """One block of thirty vines whose seasons are written down."""

    def winter(
        self, season: int, weights: Sequence[float | None], kept: Sequence[int | None] = (), step: float | None = 0.05
    ) -> None:
        """Weigh the first vines in walking order, and count what was left on them; None leaves one out."""
        counts = list(kept) + [None] * (len(weights) - len(kept))
        records = []
        for vine, weight, count in zip(self.vines, weights, counts, strict=False):
            if weight is None and count is None:
                continue
            told: dict[str, Any] = {
                "kind": "dormant_record",
                "id": str(uuid.uuid4()),
                "vine": vine,
                "observed_at": f"{season}-01-16T10:02:00-05:00",
            }
            if weight is not None:
                told["pruning_weight"] = {"value": weight, "unit": "kg"}
            if weight is not None and step is not None:
                told["scale_resolution"] = {"value": step, "unit": "kg"}
            if count is not None:
                told["nodes_retained"] = count
            records.append(told)
        self._send(records)

    def harvest(self, season: int, kilograms: float) -> None:
        """Write down what the whole block bore."""
        self._send(
            [
                {
                    "kind": "harvest_record",
                    "id": str(uuid.uuid4()),
                    "scope": "block",
                    "block": str(self.block.pk),
                    "observed_at": f"{season}-09-20T10:00:00-04:00",
                    "yield": {"value": kilograms, "unit": "kg"},
                }
            ]
        )

    def look(self, season: int, place: int, living: int, blank: int, cordon: str = "left") -> None:
        """Inspect one cordon."""
        self._send(
            [
                {
                    "kind": "cordon_inspection",
                    "id": str(uuid.uuid4()),
                    "vine": self.vines[place - 1],
                    "cordon": cordon,
                    "observed_at": f"{season}-01-20T10:00:00-05:00",
                    "living_positions": living,
                    "blank_positions": blank,
                }
            ]
        )

    def case(self, place: int, day: str = "2025-01-17") -> dict[str, Any]:
        """Open a case of replacement of a cordon."""
        body = {"vine": self.vines[place - 1], "scope": "cordon", "cordon": "left", "noticed_on": day}
        answer = self.cast.worker.client.post(f"{self.url}/cordon-cases", body, format="json")
        assert answer.status_code == 201, answer.json()
        opened: dict[str, Any] = answer.json()
        return opened

    def choose_range(self, low: float, high: float) -> None:
        """Assign a range of the farm's own to the crop load of the block."""
        code = f"own-{uuid.uuid4()}"
        made = {"code": code, "label": "own (invented)", "source": "invented", "measure": "yield_to_pruning_weight"}
        owner = self.cast.owner.client
        limits = {"low": low, "high": high, "unit": "1"}
        assert owner.post(f"{self.url}/ranges", made | limits, format="json").status_code == 201
        chosen = {"block": str(self.block.pk), "measure": "yield_to_pruning_weight", "range": code}
        answer = owner.post(f"{self.url}/range-choices", chosen, format="json")
        assert answer.status_code == 201, answer.json()

    def _send(self, records: list[dict[str, Any]]) -> None:
        answer = self.cast.worker.client.post(f"{self.url}/records", records, format="json")
        assert {each["status"] for each in answer.json()["results"]} == {"created"}, answer.json()


def of_2027(tail: str) -> str:
    """Give the query by which a summary is asked about 2027."""
    return "first=2027&last=2027" if tail == "season-trend" else "season=2027"


def summed(client: Any, path: str, query: str = "") -> dict[str, Any]:
    """Ask for a summary of a scope, such as ``portfolio/attention``."""
    answer = client.get(f"/api/v1/{path}?{query}")
    assert answer.status_code == 200, answer.content
    told: dict[str, Any] = answer.json()
    return told
