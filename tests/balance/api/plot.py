"""A block of three rows of ten vines, and ways to weigh them and to ask what the weights say; all invented."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from typing import Any

from records.access import enter, open_farm
from records.models import Vine
from records.services.vineyards import create_block, create_row, plant_row

ROWS, PLACES = 3, 10
#: Invented weights [kg] whose coefficient of variation is 30 %, give or take.
UNEVEN = (0.9, 1.6, 1.2, 0.7, 1.4, 1.1, 1.9, 1.3, 1.0, 0.8, 1.5, 1.2)


class Plot:
    """One block of thirty vines on the farm of the cast."""

    def __init__(self, cast: Any, name: str = "Lower Terrace", **columns: Any) -> None:
        self.cast = cast
        enter(cast.owner.caller)
        opened = open_farm(cast.owner.caller, cast.farm.pk)
        self.block = create_block(opened, None, {"name": name, **columns}).row
        for number in range(1, ROWS + 1):
            plant_row(opened, create_row(opened, self.block, None, number).row, PLACES)
        vines = Vine.objects.for_farm(cast.farm).filter(block=self.block)
        self.vines = [str(vine.pk) for vine in vines.order_by("row_number", "place")]
        self.url = f"/api/v1/farms/{cast.farm.pk}"

    def weigh(self, weights: Iterable[float | None], season: int = 2027, unit: str = "kg") -> None:
        """Weigh the first vines in walking order; None leaves one out."""
        records = [
            {
                "kind": "dormant_record",
                "id": str(uuid.uuid4()),
                "vine": vine,
                "observed_at": f"{season}-01-16T10:02:00-05:00",
                "pruning_weight": {"value": weight, "unit": unit},
            }
            for vine, weight in zip(self.vines, weights, strict=False)
            if weight is not None
        ]
        answer = self.cast.worker.client.post(f"{self.url}/records", records, format="json")
        assert {each["status"] for each in answer.json()["results"]} == {"created"}, answer.json()

    def tell(self, vine: str, event: str, day: str = "2026-08-01") -> None:
        """Write down what happened to a vine."""
        body = {"id": str(uuid.uuid4()), "vine": vine, "event": event, "observed_at": f"{day}T14:00:00-04:00"}
        assert self.cast.worker.client.post(f"{self.url}/vine-events", body, format="json").status_code == 201

    def ask(self, what: str, query: str = "") -> Any:
        return self.cast.viewer.client.get(f"{self.url}/blocks/{self.block.pk}/{what}?{query}")

    def told(self, what: str, query: str = "") -> dict[str, Any]:
        answer = self.ask(what, query)
        assert answer.status_code == 200, answer.json()
        body: dict[str, Any] = answer.json()
        return body
