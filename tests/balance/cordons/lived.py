"""A yard whose cordons are looked at, replaced and lost season by season, over HTTP."""

from __future__ import annotations

import uuid
from typing import Any

from balance.cordons.lives import ENDS, Lives, lives_of
from records.access import enter, open_farm
from records.kinds.definitions import CORDON_INSPECTION, CORDONS, VINE_EVENT
from tests.records.yard import Yard


class Lived(Yard):
    """Twelve vines, and short ways to say what happened to their cordons."""

    def __init__(self, cast: Any, **block: Any) -> None:
        super().__init__(cast)
        self.cast = cast
        if block:
            self.block.__class__.objects.for_farm(cast.farm).filter(pk=self.block.pk).update(**block)

    def look(self, vine: int, *seasons: int, cordon: str = "left") -> list[dict[str, Any]]:
        return [self._looked(vine, season, cordon) for season in seasons]

    def _looked(self, vine: int, season: int, cordon: str) -> dict[str, Any]:
        return self._sent(
            CORDON_INSPECTION.path,
            self.new(
                CORDON_INSPECTION,
                vine=str(self.vines[vine].pk),
                cordon=cordon,
                observed_at=f"{season}-02-10T09:00:00-05:00",
            ),
        )

    def event(self, vine: int, season: int, event: str, **more: Any) -> dict[str, Any]:
        sent = {"id": str(uuid.uuid4()), "vine": str(self.vines[vine].pk), "event": event}
        return self._sent(VINE_EVENT.path, {**sent, "observed_at": f"{season}-03-20T09:00:00-05:00", **more})

    def case(self, vine: int, season: int, cordon: str = "left", **more: Any) -> dict[str, Any]:
        scope = {"scope": "cordon", "cordon": cordon} if cordon else {"scope": "vine"}
        sent = {"vine": str(self.vines[vine].pk), "noticed_on": f"{season}-02-11", **scope, **more}
        return self._sent("cordon-cases", sent)

    def step(self, case: dict[str, Any], step: str, season: int) -> None:
        body = {"step": step, "happened_on": f"{season}-03-01"}
        answer = self.client.post(
            f"{self.url}/cordon-cases/{case['id']}/steps", body, format="json", headers={"If-Match": "*"}
        )
        assert answer.status_code == 201, answer.json()

    def _sent(self, path: str, body: dict[str, Any]) -> dict[str, Any]:
        answer = self.client.post(f"{self.url}/{path}", body, format="json")
        assert answer.status_code == 201, answer.json()
        told: dict[str, Any] = answer.json()
        return told

    def lives(self, block: Any = None, until: int | None = None) -> Lives:
        enter(self.cast.owner.caller)
        return lives_of(open_farm(self.cast.owner.caller, self.cast.farm.pk), block, until)

    def told(self, **narrowed: Any) -> list[tuple[Any, ...]]:
        """Give every life as (vine, cordon, start, first, entered, last, end), sorted."""
        lives = self.lives(**narrowed)
        at = {vine.pk.bytes: number for number, vine in enumerate(self.vines)}
        columns = (lives.starts, lives.firsts, lives.entered, lives.lasts)
        return sorted(
            (
                at[lives.vines[row].tobytes()],
                CORDONS[lives.cordons[row]],
                *(None if column[row] != column[row] else int(column[row]) for column in columns),
                ENDS[lives.ends[row]],
            )
            for row in range(len(lives))
        )
