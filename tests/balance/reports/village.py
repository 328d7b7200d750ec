"""Twelve small farms of an invented program, each with canaries wherever its people could have written something."""

from __future__ import annotations

import json
import uuid
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from rest_framework.test import APIClient

from balance.models import ProgramReport
from balance.reports.programs import making

CANARY = "Zebrafinch"
SHARED_REGION = "Lower Harrow Vale (invented)"
VINES = 4
NDJSON = "application/x-ndjson"


@dataclass
class Grower:
    """One farm of the village: its owner's client, its vines and its consent."""

    number: int
    person: Any
    client: APIClient
    caller: Any
    farm: Any
    block: Any
    vines: list[Any]
    consent: Any = None
    withdrawn: bool = False

    @property
    def url(self) -> str:
        return f"/api/v1/farms/{self.farm.pk}"

    @property
    def weights(self) -> list[float]:
        """Give the pruning weights of its vines [kg]."""
        return [round(0.5 + 0.05 * self.number + 0.1 * vine, 3) for vine in range(VINES)]

    @property
    def yield_kg(self) -> float:
        return 20.0 + self.number

    def consents(self, program: Any, purpose: str = "summaries", **more: Any) -> None:
        """Let the program count the farm."""
        from records.access import enter, open_farm
        from records.services.consents import Asked, give_consent

        with transaction.atomic():
            enter(self.caller)
            opened = open_farm(self.caller, self.farm.pk)
            asked = Asked(purpose=purpose, text_version=f"{purpose}@1", join_code=program.join_code, **more)
            self.consent = give_consent(opened, None, asked).row
        self.withdrawn = False

    def consents_again(self, program: Any, purpose: str = "summaries") -> None:
        """Let the program count the farm, if it does not."""
        if self.withdrawn:
            self.consents(program, purpose)

    def withdraws(self) -> None:
        sent = self.client.delete(f"{self.url}/consents/{self.consent.pk}", headers={"If-Match": "*"})
        assert sent.status_code == 200, sent.content
        self.withdrawn = True

    def send(self, *lines: dict[str, Any]) -> None:
        body = "\n".join(json.dumps({"id": str(uuid.uuid4()), **line}) for line in lines)
        sent = self.client.post(f"{self.url}/records", body, content_type=NDJSON)
        assert sent.status_code == 200, sent.content
        statuses = [each["status"] for each in sent.json()["results"]]
        assert set(statuses) == {"created"}, sent.json()

    def has_a_season(self) -> None:
        """Write down the year 2026: weights with guesses and counts, the harvest before, cordons looked at twice."""
        for season in (2025, 2026):
            self.send(*(self._looked_at(vine, season) for vine in self.vines))
        self.send(*(self._weighed(vine, kg) for vine, kg in zip(self.vines, self.weights, strict=True)))
        self.send({
            "kind": "harvest_record", "block": str(self.block.pk), "scope": "block", "season": 2025,
            "observed_at": "2025-09-28T11:00:00-04:00", "yield": {"value": self.yield_kg, "unit": "kg"},
            "note": f"{CANARY} note {self.number}",
        })  # fmt: skip
        case = {"vine": str(self.vines[0].pk), "scope": "cordon", "cordon": "left", "noticed_on": "2026-01-17"}
        sent = self.client.post(f"{self.url}/cordon-cases", case, format="json")
        assert sent.status_code == 201, sent.content

    def _weighed(self, vine: Any, kg: float) -> dict[str, Any]:
        return {
            "kind": "dormant_record", "vine": str(vine.pk), "observed_at": "2026-01-16T10:02:00-05:00",
            "pruning_weight": {"value": kg, "unit": "kg"}, "scale_resolution": {"value": 50, "unit": "g"},
            "guessed_weight": {"value": round(1.1 * kg, 6), "unit": "kg"}, "nodes_retained": 30,
            "pruner": f"{CANARY}-{self.number}",
        }  # fmt: skip

    def _looked_at(self, vine: Any, season: int) -> dict[str, Any]:
        return {
            "kind": "cordon_inspection", "vine": str(vine.pk), "observed_at": f"{season}-01-16T10:20:00-05:00",
            "cordon": "left", "living_positions": 8, "blank_positions": 2,
        }  # fmt: skip


class Village:
    """The farms, the program, and its lead."""

    def __init__(self, cast: Any, many: int = 12, purpose: str = "summaries") -> None:
        self.cast, self.program, self.lead = cast, cast.program, cast.lead
        self.growers = [_grower(number) for number in range(1, many + 1)]
        for grower in self.growers:
            grower.has_a_season()
            grower.consents(self.program, purpose)

    @property
    def url(self) -> str:
        return f"/api/v1/programs/{self.program.pk}/reports"

    def ask(self, client: Any = None, season: int = 2026, units: str = "metric", **more: Any) -> Any:
        sent = {"season": season, "units": units, **more}
        return (client or self.lead.client).post(self.url, sent, format="json")

    def told(self, report_id: str) -> dict[str, Any]:
        shown: dict[str, Any] = self.lead.client.get(f"{self.url}/{report_id}").json()
        return shown

    def made(self, season: int = 2026, units: str = "metric") -> dict[str, Any]:
        """Ask for a report, let a worker make it, and give it as it is shown then."""
        asked = self.ask(season=season, units=units)
        assert asked.status_code == 202, asked.json()
        making.run(uuid.UUID(asked.json()["id"]))
        return self.told(asked.json()["id"])

    def file(self, report: dict[str, Any], form: str) -> Any:
        return self.lead.client.get(f"{self.url}/{report['id']}/files/{form}")

    def document(self, report: dict[str, Any]) -> dict[str, Any]:
        said: dict[str, Any] = self.file(report, "json").json()
        return said

    def row(self, report_id: str) -> ProgramReport:
        return ProgramReport.objects.get(pk=report_id)


def _grower(number: int) -> Grower:
    from records.access import Caller, enter, open_farm
    from records.models import Cultivar, Person, Vine
    from records.services.farms import create_farm
    from records.services.keys import find_key, make_key
    from records.services.vineyards import create_block, create_row, plant_row

    person = Person.objects.create_user(f"{CANARY.lower()}{number}@harrow-vale.example", f"{CANARY} Owner {number}")
    _, text = make_key(person, label=f"{CANARY} key", scopes=["read", "record", "manage"])
    key = find_key(text)
    assert key is not None
    caller = Caller.by_key(key)
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {text}")
    region = SHARED_REGION if number <= 6 else f"{CANARY} Heights {number}"
    columns = {
        "name": f"{CANARY} Farm {number}", "hemisphere": "north", "time_zone": "America/New_York", "region": region,
    }  # fmt: skip
    with transaction.atomic():
        enter(caller)
        farm, _ = create_farm(caller, None, columns)
        opened = open_farm(caller, farm.pk)
        cultivar = Cultivar.objects.get(pk="concord" if number <= 8 else "niagara")
        said = {
            "name": f"{CANARY} Block {number}", "cultivar": cultivar, "training": "bilateral_cordon",
            "rootstock": f"{CANARY} stock", "note": f"{CANARY} remark", "year_planted": 2015,
        }  # fmt: skip
        block = create_block(opened, None, said).row
        plant_row(opened, create_row(opened, block, None, 1).row, VINES)
        vines = list(Vine.objects.for_farm(farm).filter(block=block).order_by("place"))
    return Grower(number, person, client, caller, farm, block, vines)
