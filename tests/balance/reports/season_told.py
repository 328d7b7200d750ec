"""Blocks whose seasons are on record in different states, and the raw records behind them; all invented."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

from django.db import transaction

from balance.reports.composing import compose, compose_block
from balance.reports.document import as_json
from balance.reports.quantities import units_of
from balance.reports.reading import blocks_of, reading_at, this_moment
from balance.reports.sources import formulas_of
from records.access import enter, open_farm
from records.kinds import KINDS
from records.models import BudSample, Cultivar, DormantRecord, HarvestRecord, Vine, VineEvent
from records.services.farms import create_farm
from records.services.vineyards import create_block, create_row, plant_row
from tests.balance.reports.report_desk import Desk

#: One of each in kilograms, by the international pound.
KILOGRAMS = {"kg": 1.0, "g": 0.001, "[lb_av]": 0.45359237, "[oz_av]": 0.45359237 / 16, "[ston_av]": 907.18474}
CONCORD = {"training": "bilateral_cordon", "use": "juice", "vine_spacing_m": "2.4", "row_spacing_m": "2.7"}


class Told:
    """One block of the desk's farm, and ways to write down its seasons."""

    def __init__(self, desk: Desk, name: str, places: int = 12, **columns: Any) -> None:
        self.desk, self.cast, self.name = desk, desk.cast, name
        with transaction.atomic():
            enter(self.cast.owner.caller)
            opened = open_farm(self.cast.owner.caller, self.cast.farm.pk)
            self.block = create_block(opened, None, {"name": name, **columns}).row
            if places:
                plant_row(opened, create_row(opened, self.block, None, 1).row, places)
            vines = Vine.objects.for_farm(self.cast.farm).filter(block=self.block).order_by("place")
            self.vines = [str(vine.pk) for vine in vines]

    @classmethod
    def concord(cls, desk: Desk, name: str, places: int = 12) -> Told:
        spacing = {"vine_spacing_value": "2.4", "vine_spacing_unit": "m", "row_spacing_value": "2.7",
                   "row_spacing_unit": "m"}  # fmt: skip
        cultivar = Cultivar.objects.get(pk="concord")
        return cls(desk, name, places, cultivar=cultivar, **CONCORD, **spacing)

    def send(self, kind: str, **more: Any) -> dict[str, Any]:
        """Send one record of a kind with nothing in it but what is said."""
        path = f"{self.desk.yard.url}/{KINDS[kind].path}"
        sent = {"id": str(uuid.uuid4()), **more}
        answer = self.desk.yard.client.post(path, sent, format="json")
        assert answer.status_code == 201, answer.json()
        made: dict[str, Any] = answer.json()
        return made

    def send_all(self, records: list[dict[str, Any]]) -> list[dict[str, Any]]:
        """Send records of any kind at once."""
        sent = [{"id": str(uuid.uuid4()), **record} for record in records]
        answer = self.desk.yard.client.post(f"{self.desk.yard.url}/records", sent, format="json")
        assert all(each["status"] == "created" for each in answer.json()["results"]), answer.json()
        return sent

    def weighing(self, vine: str, season: int, weight: float, unit: str = "[lb_av]", **more: Any) -> dict[str, Any]:
        weighed = {"value": round(weight, 6), "unit": unit}
        said = {"vine": vine, "observed_at": self.winter(season), "pruning_weight": weighed}
        return {"kind": "dormant_record", **said, **more}

    def weigh(self, season: int, weights: Iterable[float | None], unit: str = "[lb_av]", **more: Any) -> list[Any]:
        """Weigh the first vines in walking order; None leaves one out."""
        pairs = zip(self.vines, weights, strict=False)
        return self.send_all([self.weighing(vine, season, kg, unit, **more) for vine, kg in pairs if kg is not None])

    def weigh_all(self, season: int, **more: Any) -> None:
        """Weigh every vine."""
        self.weigh(season, [1.5 + (at % 9) / 10 for at in range(len(self.vines))], **more)

    def correct(self, kind: str, record: dict[str, Any], **more: Any) -> None:
        address = f"{self.desk.yard.url}/{KINDS[kind].path}/{record['id']}"
        answer = self.desk.yard.client.patch(
            address, {**more, "reason": "misread"}, format="json", headers={"If-Match": "*"}
        )
        assert answer.status_code == 200, answer.json()

    def withdraw(self, kind: str, record: dict[str, Any]) -> None:
        address = f"{self.desk.yard.url}/{KINDS[kind].path}/{record['id']}"
        answer = self.desk.yard.client.delete(address, headers={"If-Match": "*"})
        assert answer.status_code in {200, 204}, answer.content

    def pick(self, season: int, value: float, unit: str = "[lb_av]", **more: Any) -> None:
        self.send("harvest_record", block=str(self.block.pk), scope="block", observed_at=self.autumn(season),
                  **{"yield": {"value": value, "unit": unit}}, **more)  # fmt: skip

    def lose(self, place: int, season: int) -> None:
        self.send("vine_event", vine=self.vines[place - 1], event="missing", observed_at=self.autumn(season))

    def winter(self, season: int) -> str:
        return f"{season}-01-16T10:02:00-05:00"

    def autumn(self, season: int) -> str:
        return f"{season}-09-20T14:00:00-04:00"

    def summer(self, season: int) -> str:
        return f"{season}-07-16T10:00:00-04:00"

    def page(self, document: dict[str, Any]) -> dict[str, Any]:
        found: dict[str, Any] = next(page for page in document["blocks"] if page["block"] == str(self.block.pk))
        return found

    def line(self, document: dict[str, Any]) -> dict[str, Any]:
        found: dict[str, Any] = next(line for line in document["summary"] if line["block"] == str(self.block.pk))
        return found


def document_of(desk: Desk, units: str = "metric", season: int = 2027) -> dict[str, Any]:
    """Compose what a report says, without rendering its forms."""
    with this_moment() as moment:
        person = desk.cast.owner.person
        with reading_at(moment, desk.cast.farm.pk, person, season, units_of(units)) as reading:
            parts = [compose_block(reading, block) for block in blocks_of(reading)]
            return as_json(compose(reading, parts, formulas_of(reading), "the version under test"))


def another_farm(desk: Desk, name: str, hemisphere: str = "south", time_zone: str = "Australia/Adelaide") -> Desk:
    """Give the desk of a farm of the owner's without a block."""
    with transaction.atomic():
        enter(desk.cast.owner.caller)
        columns = {"name": name, "hemisphere": hemisphere, "time_zone": time_zone}
        farm, _ = create_farm(desk.cast.owner.caller, None, columns)
    yard: Any = SimpleNamespace(url=f"/api/v1/farms/{farm.pk}", client=desk.cast.owner.client)
    return Desk(yard, replace(desk.cast, farm=farm))


class South(Told):
    """The same on a farm of the south."""

    def winter(self, season: int) -> str:
        return f"{season - 1}-07-16T10:02:00+09:30"

    def autumn(self, season: int) -> str:
        return f"{season}-03-20T14:00:00+10:30"

    def summer(self, season: int) -> str:
        return f"{season}-01-10T10:00:00+10:30"


def counted(count: int | None) -> dict[str, Any]:
    return {} if count is None else {"nodes_retained": count}


def whole_year(told: Told) -> None:
    """Write down three winters, three harvests, buds, clusters and cordons of a block with two missing vines."""
    told.weigh(2025, [2.5, 3.0, 2.25, 2.0, 2.75, 1.5, 3.5, 2.5, 3.0])
    told.weigh(2026, [2.25, 2.75, 2.0, 2.0, 2.5, 1.5, 3.0, 2.25, 2.5, 2.0])
    told.lose(11, 2026)
    told.lose(12, 2026)
    counts = (44, 41, 48, 42, 30, None, 52, 40)
    weights = (2.0, 2.5, 1.8, 2.2, 1.5, 0.75, 2.75, 1.9)
    step: dict[str, Any] = {"scale_resolution": {"value": 0.1, "unit": "[lb_av]"}}
    told.send_all([
        told.weighing(vine, 2027, weight, **step, **counted(count))
        for vine, weight, count in zip(told.vines, weights, counts, strict=False)
    ])  # fmt: skip
    told.pick(2025, 360)
    told.pick(2026, 260, soluble_solids={"value": 16.8, "unit": "{Brix}"})
    told.pick(2027, 410, clusters=1450, soluble_solids={"value": 15.2, "unit": "{Brix}"}, ph=3.4,
              titratable_acidity={"value": 0.8, "unit": "g/dL"}, reference_acid="tartaric")  # fmt: skip
    for examined, alive, where in ((100, 70, "upper end"), (60, 38, "by the brook")):
        told.send("bud_sample", block=str(told.block.pk), observed_at=told.winter(2027), nodes_examined=examined,
                  primary_alive=alive, cut_where=where)  # fmt: skip
    told.send_all([
        {"kind": "cluster_count", "vine": vine, "observed_at": told.summer(2027), "clusters_before_thinning": clusters}
        for vine, clusters in zip(told.vines, (130, 148, 155, 120), strict=False)
    ])  # fmt: skip
    told.send_all([
        {"kind": "cordon_inspection", "vine": vine, "observed_at": told.winter(season), "season": season,
         "cordon": "left", "living_positions": 10 - blank, "blank_positions": blank}
        for season, blanks in ((2026, (1, 2, 0)), (2027, (3, 2, 4)))
        for vine, blank in zip(told.vines, blanks, strict=False)
    ])  # fmt: skip
    answer = told.desk.yard.client.post(
        f"{told.desk.yard.url}/cordon-cases",
        {"vine": told.vines[2], "scope": "cordon", "cordon": "left", "noticed_on": "2026-02-10"}, format="json",
    )  # fmt: skip
    assert answer.status_code == 201, answer.json()


class Raw:
    """The raw records of a block, read row by row and converted by hand."""

    def __init__(self, told: Told) -> None:
        with transaction.atomic():
            enter(told.cast.owner.caller)
            farm = open_farm(told.cast.owner.caller, told.cast.farm.pk).farm
            self.dormant = list(DormantRecord.objects.for_farm(farm).filter(block=told.block))
            self.harvests = list(HarvestRecord.objects.for_farm(farm).filter(block=told.block))
            self.buds = list(BudSample.objects.for_farm(farm).filter(block=told.block))
            self.events = list(VineEvent.objects.for_farm(farm).filter(block=told.block))
        self.places = len(told.vines)

    def live(self, season: int) -> list[Any]:
        return [row for row in self.dormant if row.season == season and row.withdrawn_at is None]

    def weights(self, season: int) -> list[float]:
        """Give the weights of a winter in kilograms, from what was sent."""
        return [
            float(row.pruning_weight_value) * KILOGRAMS[row.pruning_weight_unit]
            for row in self.live(season) if row.pruning_weight_value is not None
        ]  # fmt: skip

    def missing(self, season: int) -> int:
        return len({e.vine_id for e in self.events if e.event == "missing" and e.season <= season})

    def picked(self, season: int) -> float:
        rows = [row for row in self.harvests if row.season == season and row.withdrawn_at is None]
        return sum(float(row.yield_value) * KILOGRAMS[row.yield_unit] for row in rows)


def figures_of(page: dict[str, Any], section: str) -> dict[str, dict[str, Any]]:
    found = next(each for each in page["sections"] if each["code"] == section)
    return {each["code"]: each for each in found["figures"]}


def table_of(page: dict[str, Any], section: str, table: str) -> list[dict[str, Any]]:
    found = next(each for each in page["sections"] if each["code"] == section)
    told = next(each for each in found["tables"] if each["code"] == table)
    names = [column["code"] for column in told["columns"]]
    return [dict(zip(names, row, strict=True)) for row in told["rows"]]
