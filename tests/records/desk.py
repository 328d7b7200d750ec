"""A desk at which files of vines are handed in and taken in."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from uuid import UUID

from django.core.files.uploadedfile import SimpleUploadedFile

from records.access import enter, open_farm
from records.services import jobs

CSV = "text/csv"
PLAIN = "block=Lower&season=2027&map=plain"


class Desk:
    """A farm, and a way to send it files and have a worker carry them out."""

    def __init__(self, cast: Any) -> None:
        self.cast, self.farm = cast, cast.farm
        self.worker, self.viewer = cast.owner, cast.viewer  # files plant vines, which the owner may
        self.url = f"/api/v1/farms/{cast.farm.pk}"

    def ask(self, content: str | bytes, query: str = PLAIN) -> Any:
        """Send a file; nobody takes it in yet."""
        return self.worker.client.post(f"{self.url}/imports?{query}", content, content_type=CSV)

    def ask_in_a_form(self, content: bytes, **told: str) -> Any:
        form = {"file": SimpleUploadedFile("mine.csv", content, content_type=CSV), **told}
        return self.worker.client.post(f"{self.url}/imports", form, format="multipart")

    def send(self, content: str | bytes, query: str = PLAIN) -> Any:
        """Send a file and take it in."""
        return self.carried_out(self.ask(content, query))

    def carried_out(self, answer: Any) -> Any:
        if answer.status_code == 202:
            self.run(answer)
        return answer

    def run(self, answer: Any) -> None:
        """Do what a worker does when it is woken."""
        try:
            jobs.run(self.farm.pk, UUID(answer.json()["job"]["id"]))
        finally:
            self.open()

    def open(self) -> None:
        """Open the farm to the test's own transaction again."""
        enter(self.worker.caller)
        open_farm(self.worker.caller, self.farm.pk)

    def job(self, answer: Any) -> dict[str, Any]:
        told: dict[str, Any] = self.viewer.client.get(f"{self.url}/jobs/{answer.json()['job']['id']}").json()
        return told

    def lines(self, answer: Any, query: str = "") -> list[dict[str, Any]]:
        address = f"{self.url}/imports/{answer.json()['import']['id']}/rows?limit=500{query}"
        return list(self._paged(address))

    def findings(self, answer: Any) -> list[tuple[int, str, str, str]]:
        return [
            (each["line"], each["column"], each["value"], each["code"])
            for line in self.lines(answer)
            for each in line["findings"]
        ]

    def weights(self, answer: Any, season: int = 2027) -> dict[tuple[str, int], float]:
        """Give the kilograms on record by label and place of the vine."""
        block = answer.json()["import"]["block"]
        vines = {vine["id"]: vine for vine in self._paged(f"{self.url}/blocks/{block}/vines?limit=500")}
        records = self._paged(f"{self.url}/dormant-records?limit=500&season={season}")
        return {
            (vines[record["vine"]]["label"], vines[record["vine"]]["place"]): record["pruning_weight"]["kg"]
            for record in records
            if record["pruning_weight"]
        }

    def _paged(self, address: str | None) -> Iterator[dict[str, Any]]:
        while address:
            page = self.viewer.client.get(address).json()
            yield from page["results"]
            address = page["next"]
