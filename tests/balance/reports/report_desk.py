"""A farm whose season is on record, and the making of its report as a worker does it."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Any

from records.services import jobs
from tests.records.yard import Yard


@dataclass
class Desk:
    """Whoever asks for reports of the farm."""

    yard: Yard
    cast: Any

    @property
    def url(self) -> str:
        return f"{self.yard.url}/reports"

    def ask(self, season: int = 2027, units: str = "metric", **more: Any) -> Any:
        return self.yard.client.post(self.url, {"season": season, "units": units, **more}, format="json")

    def made(self, season: int = 2027, units: str = "metric") -> dict[str, Any]:
        """Ask for a report, let a worker make it, and give it as it is shown then."""
        asked = self.ask(season, units)
        assert asked.status_code == 202, asked.json()
        jobs.run(self.cast.farm.pk, uuid.UUID(asked.json()["job"]))
        shown: dict[str, Any] = self.yard.client.get(f"{self.url}/{asked.json()['id']}").json()
        assert shown["state"] == "succeeded", shown
        return shown

    def file(self, report: dict[str, Any], form: str) -> Any:
        return self.yard.client.get(f"{self.url}/{report['id']}/files/{form}")

    def document(self, report: dict[str, Any]) -> dict[str, Any]:
        said: dict[str, Any] = self.file(report, "json").json()
        return said
