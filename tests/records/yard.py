"""A block of twelve vines, and ways to send records about them."""

from __future__ import annotations

import json
import uuid
from typing import Any

from records.access import enter, open_farm
from records.api.kind_examples import NEW
from records.services.vineyards import create_block, create_row, plant_row

NDJSON = "application/x-ndjson"


class Yard:
    """A block of twelve vines, and the addresses of its records."""

    def __init__(self, cast: Any) -> None:
        from records.models import Vine

        enter(cast.owner.caller)
        opened = open_farm(cast.owner.caller, cast.farm.pk)
        self.block = create_block(opened, None, {"name": "Lower Terrace"}).row
        plant_row(opened, create_row(opened, self.block, None, 1).row, 12)
        self.vines = list(Vine.objects.for_farm(cast.farm).filter(block=self.block).order_by("place"))
        self.client = cast.worker.client
        self.url = f"/api/v1/farms/{cast.farm.pk}"

    def new(self, kind: Any, **more: Any) -> dict[str, Any]:
        sent = {**NEW[kind.name], "id": str(uuid.uuid4())}
        if "vine" in sent:
            sent["vine"] = str(self.vines[0].pk)
        if "block" in sent:
            sent["block"] = str(self.block.pk)
        return {name: value for name, value in {**sent, **more}.items() if value is not ...}

    def post(self, kind: Any, body: Any) -> Any:
        return self.client.post(f"{self.url}/{kind.path}", body, format="json")

    def at(self, kind: Any, record: Any, tail: str = "") -> str:
        return f"{self.url}/{kind.path}/{record['id']}{tail}"


class Bulk(Yard):
    """A yard to which many records are sent at once."""

    def weighings(self, count: int, **more: Any) -> list[dict[str, Any]]:
        return [self.weighing(number, **more) for number in range(count)]

    def weighing(self, number: int, **more: Any) -> dict[str, Any]:
        return {
            "kind": "dormant_record",
            "id": str(uuid.uuid4()),
            "vine": str(self.vines[number].pk),
            "observed_at": "2027-01-16T10:02:00-05:00",
            "pruning_weight": {"value": 1.5 + number / 10, "unit": "[lb_av]"},
            "scale_resolution": {"value": 0.25, "unit": "[lb_av]"},
            **more,
        }

    def send(self, rows: Any, query: str = "", **headers: str) -> Any:
        body = rows if isinstance(rows, bytes | str) else "\n".join(json.dumps(row) for row in rows)
        return self.client.post(f"{self.url}/records{query}", body, content_type=NDJSON, headers=headers)

    def send_array(self, rows: Any, query: str = "") -> Any:
        return self.client.post(f"{self.url}/records{query}", rows, format="json")

    def statuses(self, answer: Any) -> list[str]:
        results = answer.json()["results"]
        assert [result["index"] for result in results] == list(range(len(results)))
        return [result["status"] for result in results]
