"""The office in which files of records are handed in and taken out."""

from __future__ import annotations

import csv
import io
from typing import Any

from records.access import enter, open_farm
from records.api.kind_examples import NEW
from records.models import Vine
from records.services.vineyards import create_block, create_row, plant_row
from tests.records.desk import CSV
from tests.records.sheets import XLSX


def send(office: Any, content: str | bytes, kind: str, more: str = "") -> Any:
    media = XLSX if isinstance(content, bytes) and content.startswith(b"PK") else CSV
    answer = office.worker.client.post(f"{office.url}/imports?kind={kind}{more}", content, content_type=media)
    return office.carried_out(answer)


def outcomes(office: Any, answer: Any) -> list[str]:
    assert answer.status_code == 202, answer.json()
    return [line["outcome"] for line in office.lines(answer)]


def fetched(office: Any, kind: Any, form: str, query: str = "") -> bytes:
    answer = office.viewer.client.get(f"{office.url}/{kind.path}?as={form}{query}")
    assert answer.status_code == 200
    return bytes(answer.content)


def template(office: Any, kind: Any, form: str = "csv") -> bytes:
    answer = office.cast.nobody.get(f"/api/v1/templates/{kind.name}.{form}")
    assert (answer.status_code, answer["X-Content-Type-Options"]) == (200, "nosniff")
    return bytes(answer.content)


def filled(office: Any, kind: Any) -> str:
    """The template with its example made a record of row 1, vine 1 (a harvest of a vine; a bud sample of the block)."""
    rows = list(csv.reader(io.StringIO(template(office, kind).decode("utf-8-sig"))))
    rows[2][0] = "Lower Terrace"
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    return out.getvalue()


def post_one(office: Any, kind: Any, number: int = 0, **more: Any) -> dict[str, Any]:
    example = {name: value for name, value in NEW[kind.name].items() if name not in {"id", "vine", "block"}}
    body = example | {"vine": str(office.vines[number].pk)} | more
    answer = office.worker.client.post(f"{office.url}/{kind.path}", body, format="json")
    assert answer.status_code == 201, answer.json()
    told: dict[str, Any] = answer.json()
    return told


def furnished(desk: Any) -> Any:
    """Plant twenty vines in two rows, and seat the worker."""
    enter(desk.cast.owner.caller)
    opened = open_farm(desk.cast.owner.caller, desk.farm.pk)
    desk.block = create_block(opened, None, {"name": "Lower Terrace"}).row
    for number in (1, 2):
        plant_row(opened, create_row(opened, desk.block, None, number).row, 10)
    desk.vines = list(Vine.objects.for_farm(desk.farm).order_by("row_number", "place"))
    desk.worker = desk.cast.worker
    return desk
