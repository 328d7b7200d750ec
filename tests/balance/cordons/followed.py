"""A yard whose cordons are inspected winter by winter."""

from __future__ import annotations

from typing import Any

from records.kinds.definitions import CORDON_INSPECTION, VINE_EVENT
from tests.balance.cordons.test_cases import Cases


class Followed(Cases):
    """A yard whose cordons are inspected winter by winter."""

    def look(self, place: int, season: int, cordon: str = "left", **more: Any) -> str:
        vine = str(self.yard.vines[place - 1].pk)
        only = {"candidate_springs_from": ..., "candidate_diameter": ..., "candidate_from_head": ...}
        sent = self.yard.new(
            CORDON_INSPECTION, vine=vine, cordon=cordon, observed_at=f"{season}-01-20T10:00:00-05:00", **only, **more
        )
        answer = self.yard.post(CORDON_INSPECTION, {**sent, "season": season})
        assert answer.status_code == 201, answer.json()
        return str(answer.json()["id"])

    def event(self, place: int, event: str, day: str) -> None:
        vine = str(self.yard.vines[place - 1].pk)
        sent = self.yard.new(VINE_EVENT, vine=vine, event=event, happened_on=day, observed_at=f"{day}T10:00:00-05:00",
                             rootstock=..., trained_as=...)  # fmt: skip
        answer = self.yard.post(VINE_EVENT, sent)
        assert answer.status_code == 201, answer.json()

    def ask(self, what: str, query: str = "") -> dict[str, Any]:
        answer = self.yard.client.get(f"{self.yard.url}/{what}?{query}")
        assert answer.status_code == 200, answer.json()
        body: dict[str, Any] = answer.json()
        return body
