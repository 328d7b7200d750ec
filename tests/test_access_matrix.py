"""Who may do what: every route and method, each person of the cast, taken from the URL resolver.

A route without a row fails, so a new endpoint cannot be forgotten; each refusal stands beside somebody who
succeeds with the same request, so it is refused for the right reason.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

import pytest
from django.db import transaction
from django.urls import URLPattern, URLResolver, get_resolver
from django.urls.converters import UUIDConverter
from rest_framework.test import APIClient

from records.access import enter, open_farm
from records.api.kind_examples import NEW, change_of
from records.kinds import KINDS, Kind
from records.models import DormantRecord, ProgramMembership, Vine
from records.services.consents import Asked, give_consent
from records.services.keys import make_key
from records.services.members import add_member
from records.services.vineyards import create_block, create_row, plant_row
from tests.conftest import Cast, have_catalogues, leave_farms, make_cast
from tests.vineyard.board.boarding import loaded, same_application  # noqa: F401 - pages call the API

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("same_application")]

PEOPLE = ("nobody", "stranger", "lead", "viewer", "adviser", "worker", "owner")
#: Statuses in the order of PEOPLE.
ANYBODY = (200,) * 7
OWN_THINGS = (401, 200, 200, 200, 200, 200, 200)
READ = (401, 404, 404, 200, 200, 200, 200)
RECORD = (401, 404, 404, 403, 201, 201, 201)
RECORD_CHANGE = (401, 404, 404, 403, 200, 200, 200)
MANAGE = (401, 404, 404, 403, 403, 403, 201)
MANAGE_CHANGE = (401, 404, 404, 403, 403, 403, 200)
#: Taking everything out, and erasing, are for whoever may manage the farm.
MANAGE_ONLY = (401, 404, 404, 403, 403, 403, 200)
#: What a program adds: farms that take part read it, its leads write.
OF_PROGRAM = (401, 404, 200, 200, 200, 200, 200)
BY_LEADS = (401, 404, 201, 403, 403, 403, 403)
#: What brings many farms together: for everybody else there is no such thing.
FOR_LEADS = (401, 404, 200, 404, 404, 404, 404)
OWN_KEY = (401, 404, 404, 404, 404, 404, 200)
ASKS_FOR_WORK = (401, 404, 404, 403, 202, 202, 202)
#: Whoever may read a farm may ask for its report; its files are there once a worker has made them.
ASKS_FOR_REPORT = (401, 404, 404, 202, 202, 202, 202)
NOT_MADE_YET = (401, 404, 404, 200, 200, 200, 200)


@dataclass
class Scene:
    """The ids that fill the slots of a route, and fresh things to post about."""

    ids: dict[str, Any]
    vines: Iterator[Any] = field(repr=False)
    farm_name: str = "Tern Hill Vineyard (invented)"

    def weighing(self) -> dict[str, Any]:
        return {
            "vine": str(next(self.vines).pk),
            "observed_at": "2027-01-16T10:02:00-05:00",
            "pruning_weight": {"value": 2.8, "unit": "lb"},
        }

    def failing_cordon(self) -> dict[str, Any]:
        """Give a case of replacement on a vine that has none."""
        return {"vine": str(next(self.vines).pk), "scope": "cordon", "cordon": "left", "noticed_on": "2024-01-17"}

    def new(self, kind: Kind, **more: Any) -> dict[str, Any]:
        """Give a new record of a kind, about a vine that has none."""
        example = {name: value for name, value in NEW[kind.name].items() if name not in {"id", "block", "vine"}}
        return example | {"vine": str(next(self.vines).pk)} | more


@dataclass(frozen=True)
class Case:
    """What a request to one route and method carries, and what each person gets."""

    expected: tuple[int, ...]
    body: Callable[[Scene], Any] | None = None
    query: str = ""
    content_type: str = "application/json"
    if_match: bool = False
    #: Instead of the scene's, where one name stands for unlike things.
    ids: dict[str, str] = field(default_factory=dict)


def _of_a_kind(kind: Kind) -> dict[tuple[str, str], Case]:
    """Give the rows of one kind of record: whoever may record may also correct and withdraw."""
    base = f"api/v1/farms/{{farm}}/{kind.path}"
    one = f"{base}/{{record}}"
    return {
        ("GET", base): Case(READ),
        ("POST", base): Case(RECORD, body=lambda scene: scene.new(kind)),
        ("GET", one): Case(READ),
        ("PATCH", one): Case(RECORD_CHANGE, body=lambda _: change_of(kind), if_match=True),
        ("DELETE", one): Case(RECORD_CHANGE, if_match=True),
        ("GET", f"{one}/versions"): Case(READ),
        ("POST", f"{one}/reinstatement"): Case(RECORD_CHANGE, if_match=True),
    }


def own_formula(begins: str, **more: Any) -> dict[str, Any]:
    """Give a formula of one's own under a code that is new."""
    numbers = {"kind": "first_and_further", "first_nodes": 33, "further_nodes": 11}
    return {
        "code": f"{begins}{uuid.uuid4()}",
        "label": "33+11 per 500 g",
        "source": "our own trial",
        "weight_unit": {"value": 500, "unit": "g"},
        **numbers,
        **more,
    }


def own_range(begins: str, **more: Any) -> dict[str, Any]:
    """Give a range of one's own under a code that is new."""
    limits = {"measure": "mean_cane_weight", "low": 20, "high": 60, "unit": "g"}
    return {"code": f"{begins}{uuid.uuid4()}", "label": "canes", "source": "our own trial", **limits, **more}


RECEIVER = {"url": "https://receiver.tern-hill.example/told", "events": ["report.ready", "report.failed"]}
CSV_OF_VINES = "row,vine,pruning_weight\n1,1,1.25\n"

BOARD = "board/farms/{farm}"

MATRIX: dict[tuple[str, str], Case] = {
    # The keys of the cast sign nobody in: these pages know sessions only, and the API knows keys only.
    ("GET", "login"): Case(ANYBODY),
    ("POST", "login"): Case(
        (401,) * 7,
        body=lambda _: f"username={uuid.uuid4()}%40harrow-vale.example&password=wrong",
        content_type="application/x-www-form-urlencoded",
    ),
    ("POST", "logout"): Case((302,) * 7),
    ("POST", "docs/key"): Case((401,) * 7),
    # The board calls the API with the key of its own cookie, which nobody here has: tests/vineyard/board.
    ("GET", "board/sign-in"): Case(ANYBODY),
    ("POST", "board/sign-in"): Case(
        (401,) * 7, body=lambda _: "key=vine_wrong", content_type="application/x-www-form-urlencoded"
    ),
    ("POST", "board/sign-in/as-myself"): Case((403,) * 7),  # its own call asks for the token of a form
    ("POST", "board/sign-out"): Case((302,) * 7),
    ("POST", "board/units"): Case((302,) * 7),
    ("POST", f"{BOARD}/reports"): Case((302,) * 7),
    **{("GET", route): Case((302,) * 7) for route in ("board", "board/worklists", "board/reports", BOARD)},
    **{
        ("GET", f"{BOARD}/{tail}"): Case((302,) * 7)
        for tail in ("worklist", "worklist/print", "worklist.csv", "reports", "reports/{report}")
    },
    ("GET", f"{BOARD}/reports/{{report}}/files/{{form}}"): Case((302,) * 7, ids={"form": "pdf"}),
    ("GET", f"{BOARD}/charts/{{chart}}.svg"): Case((302,) * 7, ids={"chart": "season-trend"}),
    ("GET", f"{BOARD}/blocks/{{block}}"): Case((302,) * 7),
    ("GET", f"{BOARD}/blocks/{{block}}/vine-map.svg"): Case((302,) * 7),
    ("GET", f"{BOARD}/blocks/{{block}}/charts/{{chart}}.svg"): Case((302,) * 7, ids={"chart": "season-trend"}),
    ("GET", "admin"): Case((302,) * 7),
    ("GET", ""): Case(ANYBODY),
    ("GET", "livez"): Case(ANYBODY),
    ("GET", "readyz"): Case(ANYBODY),
    ("GET", "metrics"): Case(ANYBODY),  # from this machine; others need the token: tests/vineyard/test_health.py
    ("GET", "docs"): Case(ANYBODY),
    ("GET", "redoc"): Case(ANYBODY),
    ("GET", "openapi.json"): Case(ANYBODY),
    ("GET", "openapi.yaml"): Case(ANYBODY),
    ("GET", "problems"): Case(ANYBODY),
    ("GET", "problems/{code}"): Case(ANYBODY),
    ("GET", "api/v1/units"): Case(ANYBODY),
    ("GET", "api/v1/cultivar-groups"): Case(ANYBODY),
    ("GET", "api/v1/cultivars"): Case(ANYBODY),
    ("GET", "api/v1/formulas"): Case(ANYBODY),
    ("GET", "api/v1/ranges"): Case(ANYBODY),
    ("GET", "api/v1/spacing-rules"): Case(ANYBODY),
    ("GET", "api/v1/templates/{kind}.csv"): Case(ANYBODY),
    ("GET", "api/v1/templates/{kind}.xlsx"): Case(ANYBODY),
    ("POST", "api/v1/balance/targets"): Case(
        ANYBODY,
        body=lambda _: {"pruning_weight": {"value": 2.8, "unit": "lb"}, "formula": "american-30-10-lb"},
    ),
    ("POST", "api/v1/balance/competing-targets"): Case(
        ANYBODY, body=lambda _: {"pruning_weight": {"value": 2.8, "unit": "[lb_av]"}, "cultivar": "concord"}
    ),
    ("POST", "api/v1/balance/sample-size"): Case(ANYBODY, body=lambda _: {"error": 10, "vines": 352}),
    ("POST", "api/v1/balance/shrinkage"): Case(
        ANYBODY,
        body=lambda _: {"groups": [{"name": "Lower Terrace", "n": 4, "mean": {"value": 1.9, "unit": "lb"}}]},
    ),
    ("POST", "api/v1/balance/bud-injury"): Case(
        ANYBODY, body=lambda _: {"nodes_examined": 100, "primaries_alive": 65, "normal_target": 40}
    ),
    ("GET", "api/v1/bud-adjustments"): Case(ANYBODY),
    ("POST", "api/v1/balance/pruner-calibration"): Case(
        ANYBODY,
        body=lambda _: {"pairs": [{"guess": {"value": 2, "unit": "lb"}, "weight": {"value": 2.25, "unit": "lb"}}] * 3},
    ),
    ("POST", "api/v1/balance/crop-load"): Case(
        ANYBODY,
        body=lambda _: {
            "yield": {"value": 23, "unit": "lb"},
            "pruning_weight": {"value": 2.3, "unit": "lb"},
            "cultivar": "concord",
            "use": "juice",
        },
    ),
    ("POST", "api/v1/balance/yield-estimate"): Case(
        ANYBODY, body=lambda _: {"places": 807, "clusters_per_vine": {"mean": 40}}
    ),
    ("POST", "api/v1/balance/thinning"): Case(
        ANYBODY, body=lambda _: {"shoot_lengths": [{"value": 12, "unit": "[in_i]"}], "rule": "high-tunnel-8-20-in"}
    ),
    ("POST", "api/v1/balance/planting-density"): Case(
        ANYBODY,
        body=lambda _: {"vine_spacing": {"value": 6, "unit": "ft"}, "row_spacing": {"value": 9, "unit": "ft"}},
    ),
    ("GET", "api/v1/cluster-weights"): Case(ANYBODY),
    ("GET", "api/v1/thinning-rules"): Case(ANYBODY),
    ("POST", "api/v1/balance/spur-plan"): Case(
        ANYBODY,
        body=lambda _: {
            "target": 2,
            "arms": [{"name": "left", "space": {"value": 1, "unit": "m"}}],
            "canes": [{"name": "1", "arm": "left", "position": {"value": 5, "unit": "cm"}, "nodes": 6}],
        },
    ),
    ("GET", "api/v1/consent-texts"): Case(ANYBODY),
    ("GET", "api/v1/me"): Case(OWN_THINGS),
    ("GET", "api/v1/me/consents"): Case(OWN_THINGS),
    ("GET", "api/v1/me/keys"): Case(OWN_THINGS),
    ("POST", "api/v1/me/keys"): Case(
        (401, 201, 201, 201, 201, 201, 201), body=lambda _: {"label": "an app", "scopes": ["read"]}
    ),
    ("GET", "api/v1/me/keys/{key}"): Case(OWN_KEY),
    ("DELETE", "api/v1/me/keys/{key}"): Case(OWN_KEY, if_match=True),
    ("POST", "api/v1/me/keys/{key}/rotation"): Case(OWN_KEY, body=lambda _: {}, if_match=True),
    ("GET", "api/v1/farms"): Case(OWN_THINGS),
    ("POST", "api/v1/farms"): Case(
        (401, 201, 201, 201, 201, 201, 201),
        body=lambda _: {"name": "Another farm", "hemisphere": "north", "time_zone": "Europe/Paris"},
    ),
    ("GET", "api/v1/programs"): Case(OWN_THINGS),
    ("GET", "api/v1/programs/{program}"): Case((401, 404, 200, 200, 200, 200, 200)),
    ("GET", "api/v1/programs/{program}/formulas"): Case(OF_PROGRAM),
    ("POST", "api/v1/programs/{program}/formulas"): Case(BY_LEADS, body=lambda _: own_formula("program-")),
    ("GET", "api/v1/programs/{program}/formulas/{formula}"): Case(OF_PROGRAM, ids={"formula": "program-taught@1"}),
    ("GET", "api/v1/programs/{program}/ranges"): Case(OF_PROGRAM),
    ("POST", "api/v1/programs/{program}/ranges"): Case(BY_LEADS, body=lambda _: own_range("program-")),
    ("GET", "api/v1/programs/{program}/ranges/{range}"): Case(OF_PROGRAM, ids={"range": "program-taught@1"}),
    ("GET", "api/v1/programs/{program}/season-summary"): Case(FOR_LEADS, query="season=2026"),
    ("GET", "api/v1/programs/{program}/benchmarks"): Case(FOR_LEADS),
    ("POST", "api/v1/programs/{program}/benchmarks"): Case(
        (401, 404, 202, 404, 404, 404, 404), body=lambda _: {"season": 2025}
    ),
    ("GET", "api/v1/programs/{program}/benchmarks/{benchmark}"): Case(FOR_LEADS),
    ("POST", "api/v1/programs/{program}/benchmarks/{benchmark}/cancellation"): Case(FOR_LEADS),
    ("POST", "api/v1/programs/{program}/benchmarks/{benchmark}/retry"): Case((401, 404, 202, 404, 404, 404, 404)),
    ("GET", "api/v1/programs/{program}/reports"): Case(FOR_LEADS),
    ("POST", "api/v1/programs/{program}/reports"): Case(
        (401, 404, 202, 404, 404, 404, 404), body=lambda _: {"season": 2026, "units": "us"}
    ),
    ("GET", "api/v1/programs/{program}/reports/{program_report}"): Case(FOR_LEADS),
    ("POST", "api/v1/programs/{program}/reports/{program_report}/cancellation"): Case(FOR_LEADS),
    ("POST", "api/v1/programs/{program}/reports/{program_report}/retry"): Case((401, 404, 202, 404, 404, 404, 404)),
    ("GET", "api/v1/programs/{program}/reports/{program_report}/files/{form}"): Case(FOR_LEADS, ids={"form": "json"}),
    ("POST", "api/v1/programs/{program}/report-schedule"): Case(
        (401, 404, 200, 404, 404, 404, 404), body=lambda _: {"hemisphere": "north", "units": "us"}
    ),
    ("GET", "api/v1/programs/{program}/report-schedule"): Case(FOR_LEADS),
    ("DELETE", "api/v1/programs/{program}/report-schedule"): Case((401, 404, 204, 404, 404, 404, 404)),
    ("GET", "api/v1/farms/{farm}"): Case(READ),
    ("PATCH", "api/v1/farms/{farm}"): Case(MANAGE_CHANGE, body=lambda _: {"region": "Harrow Vale"}, if_match=True),
    ("GET", "api/v1/farms/{farm}/members"): Case(MANAGE_ONLY),
    ("POST", "api/v1/farms/{farm}/members"): Case(
        MANAGE, body=lambda _: {"email": f"{uuid.uuid4()}@tern-hill.example", "name": "A. Helper", "role": "viewer"}
    ),
    ("GET", "api/v1/farms/{farm}/members/{member}"): Case(MANAGE_ONLY),
    ("PATCH", "api/v1/farms/{farm}/members/{member}"): Case(
        MANAGE_ONLY, body=lambda _: {"role": "viewer"}, if_match=True
    ),
    ("DELETE", "api/v1/farms/{farm}/members/{member}"): Case((*MANAGE_ONLY[:-1], 204), if_match=True),
    ("GET", "api/v1/farms/{farm}/consents"): Case(MANAGE_ONLY),
    ("POST", "api/v1/farms/{farm}/consents"): Case(
        MANAGE,
        body=lambda scene: {
            "purpose": "records",
            "program": str(scene.ids["program"]),
            "text_version": "records@1",
        },
    ),
    ("GET", "api/v1/farms/{farm}/consents/{consent}"): Case(MANAGE_ONLY),
    ("DELETE", "api/v1/farms/{farm}/consents/{consent}"): Case(MANAGE_ONLY, if_match=True),
    ("GET", "api/v1/farms/{farm}/access-log"): Case(MANAGE_ONLY),
    ("GET", "api/v1/farms/{farm}/blocks"): Case(READ),
    ("POST", "api/v1/farms/{farm}/blocks"): Case(MANAGE, body=lambda _: {"name": f"Block {uuid.uuid4()}"}),
    ("GET", "api/v1/farms/{farm}/blocks/{block}"): Case(READ),
    ("PATCH", "api/v1/farms/{farm}/blocks/{block}"): Case(
        MANAGE_CHANGE, body=lambda _: {"rootstock": "own roots"}, if_match=True
    ),
    ("GET", "api/v1/farms/{farm}/blocks/{block}/rows"): Case(READ),
    ("POST", "api/v1/farms/{farm}/blocks/{block}/rows"): Case(MANAGE, body=lambda _: {"number": 77}),
    ("GET", "api/v1/farms/{farm}/blocks/{block}/vines"): Case(READ),
    ("POST", "api/v1/farms/{farm}/blocks/{block}/vines"): Case(MANAGE, body=lambda _: {"row_number": 1, "place": 999}),
    ("GET", "api/v1/farms/{farm}/blocks/{block}/targets"): Case(READ, query="season=2027"),
    ("GET", "api/v1/farms/{farm}/blocks/{block}/vine-map"): Case(READ, query="season=2027&show=cordon"),
    ("GET", "api/v1/farms/{farm}/blocks/{block}/statistics"): Case(READ, query="season=2027"),
    ("GET", "api/v1/farms/{farm}/blocks/{block}/benchmark"): Case(READ, query="season=2026"),
    ("GET", "api/v1/farms/{farm}/blocks/{block}/crop-load"): Case(READ, query="season=2026"),
    ("GET", "api/v1/farms/{farm}/blocks/{block}/vine-size"): Case(READ, query="season=2027"),
    ("GET", "api/v1/farms/{farm}/blocks/{block}/vine-size-trend"): Case(READ),
    ("GET", "api/v1/farms/{farm}/blocks/{block}/yield-estimate"): Case(READ, query="season=2027"),
    ("GET", "api/v1/farms/{farm}/blocks/{block}/thinning"): Case(READ, query="season=2027&crop_load=7"),
    ("GET", "api/v1/farms/{farm}/blocks/{block}/competing-targets"): Case(READ, query="season=2027"),
    ("GET", "api/v1/farms/{farm}/blocks/{block}/mean-target"): Case(READ, query="season=2027"),
    ("GET", "api/v1/farms/{farm}/blocks/{block}/bud-injury"): Case(READ, query="season=2027"),
    ("GET", "api/v1/farms/{farm}/blocks/{block}/sample-plan"): Case(READ, query="season=2027&seed=7"),
    ("GET", "api/v1/farms/{farm}/blocks/{block}/sample-progress"): Case(READ, query="season=2027"),
    ("GET", "api/v1/farms/{farm}/shrunken-means"): Case(READ, query="season=2027"),
    ("GET", "api/v1/farms/{farm}/formulas"): Case(READ),
    ("POST", "api/v1/farms/{farm}/formulas"): Case(MANAGE, body=lambda _: own_formula("own-")),
    ("GET", "api/v1/farms/{farm}/formulas/{formula}"): Case(READ),
    ("GET", "api/v1/farms/{farm}/formulas/{formula}/targets"): Case(READ),
    ("GET", "api/v1/farms/{farm}/ranges"): Case(READ),
    ("POST", "api/v1/farms/{farm}/ranges"): Case(MANAGE, body=lambda _: own_range("own-")),
    ("GET", "api/v1/farms/{farm}/ranges/{range}"): Case(READ),
    ("GET", "api/v1/farms/{farm}/range-choices"): Case(READ),
    ("POST", "api/v1/farms/{farm}/range-choices"): Case(
        MANAGE,
        body=lambda scene: {
            "measure": "mean_cane_weight",
            "range": scene.ids["range"],
            "block": str(scene.ids["block"]),
        },
    ),
    ("GET", "api/v1/farms/{farm}/range-choices/{choice}"): Case(READ),
    ("DELETE", "api/v1/farms/{farm}/range-choices/{choice}"): Case((*MANAGE_ONLY[:-1], 204), if_match=True),
    ("GET", "api/v1/farms/{farm}/vines/{vine}"): Case(READ),
    ("PATCH", "api/v1/farms/{farm}/vines/{vine}"): Case(
        MANAGE_CHANGE, body=lambda _: {"label": "end post"}, if_match=True
    ),
    **{row: case for kind in KINDS.values() for row, case in _of_a_kind(kind).items()},
    ("GET", "api/v1/farms/{farm}/reports"): Case(READ),
    ("POST", "api/v1/farms/{farm}/reports"): Case(ASKS_FOR_REPORT, body=lambda _: {"season": 2027, "units": "us"}),
    ("GET", "api/v1/farms/{farm}/reports/{report}"): Case(READ),
    ("GET", "api/v1/farms/{farm}/reports/{report}/files/{form}"): Case(NOT_MADE_YET, ids={"form": "json"}),
    ("GET", "api/v1/farms/{farm}/reports/{report}/document"): Case(NOT_MADE_YET),
    ("GET", "api/v1/farms/{farm}/reports/{report}/charts/{block}/{chart}"): Case(
        NOT_MADE_YET, ids={"chart": "pruning_weights"}
    ),
    ("POST", "api/v1/farms/{farm}/reports/{report}/links"): Case(
        (401, 404, 404, 201, 201, 201, 201), body=lambda _: {"form": "json"}
    ),
    ("GET", "api/v1/report-links/{token}"): Case(ANYBODY),  # an owner's: it opens to whoever holds it
    ("GET", "api/v1/farms/{farm}/webhook-endpoints"): Case(MANAGE_ONLY),
    ("POST", "api/v1/farms/{farm}/webhook-endpoints"): Case(MANAGE, body=lambda _: RECEIVER),
    ("GET", "api/v1/farms/{farm}/webhook-endpoints/{endpoint}"): Case(MANAGE_ONLY),
    ("PATCH", "api/v1/farms/{farm}/webhook-endpoints/{endpoint}"): Case(
        MANAGE_CHANGE, body=lambda _: {"events": ["report.failed"]}, if_match=True
    ),
    ("DELETE", "api/v1/farms/{farm}/webhook-endpoints/{endpoint}"): Case((*MANAGE_ONLY[:-1], 204), if_match=True),
    ("POST", "api/v1/farms/{farm}/webhook-endpoints/{endpoint}/test"): Case((*MANAGE_ONLY[:-1], 202)),
    ("GET", "api/v1/farms/{farm}/webhook-endpoints/{endpoint}/deliveries"): Case(MANAGE_ONLY),
    ("POST", "api/v1/farms/{farm}/webhook-endpoints/{endpoint}/deliveries/{delivery}/redelivery"): Case(
        (*MANAGE_ONLY[:-1], 202)
    ),
    ("GET", "api/v1/farms/{farm}/formulas/{formula}/reports"): Case(READ),
    ("GET", "api/v1/farms/{farm}/report-schedules"): Case(READ),
    # One for each person and farm: whose it is has it already.
    ("POST", "api/v1/farms/{farm}/report-schedules"): Case(
        (401, 404, 404, 201, 201, 201, 200), body=lambda _: {"units": "us"}
    ),
    ("GET", "api/v1/farms/{farm}/report-schedules/{schedule}"): Case(OWN_KEY),
    ("PATCH", "api/v1/farms/{farm}/report-schedules/{schedule}"): Case(
        OWN_KEY, body=lambda _: {"by_email": False}, if_match=True
    ),
    ("DELETE", "api/v1/farms/{farm}/report-schedules/{schedule}"): Case((*OWN_KEY[:-1], 204), if_match=True),
    ("GET", "api/v1/farms/{farm}/cordon-worklist"): Case(READ, query="season=2025&part_of_year=winter"),
    ("GET", "api/v1/farms/{farm}/cordon-outlook"): Case(READ, query="winters=2"),
    ("GET", "api/v1/farms/{farm}/cordon-capacity"): Case(READ, query="pace=2&winters=3"),
    **{
        ("GET", f"api/v1/{scope}/{tail}"): Case(statuses, query=query)
        for scope, statuses in (
            ("farms/{farm}", READ),
            ("farms/{farm}/blocks/{block}", READ),
            ("portfolio", OWN_THINGS),
        )
        for tail, query in (
            ("season-summary", "season=2027"),
            ("season-trend", "last=2027"),
            ("weight-distribution", "season=2027"),
            ("block-comparison", "season=2027"),
            ("attention", ""),
            ("completeness", "season=2027"),
        )
        if not (tail == "block-comparison" and "{block}" in scope)
    },
    ("GET", "api/v1/farms/{farm}/blank-cordon"): Case(READ, query="from=2026&to=2027"),
    ("GET", "api/v1/farms/{farm}/cordon-proposals"): Case(READ, query="season=2027"),
    ("GET", "api/v1/farms/{farm}/cordon-survival"): Case(READ),
    ("GET", "api/v1/farms/{farm}/cordon-settings"): Case(READ),
    ("POST", "api/v1/farms/{farm}/cordon-settings"): Case(
        MANAGE, body=lambda scene: {"block": str(scene.ids["block"]), "blank_share_percent": 40}
    ),
    ("GET", "api/v1/farms/{farm}/cordon-settings/{settings}"): Case(READ),
    ("PATCH", "api/v1/farms/{farm}/cordon-settings/{settings}"): Case(
        MANAGE_CHANGE, body=lambda _: {"years_in_decline": 3}, if_match=True
    ),
    ("GET", "api/v1/farms/{farm}/cordon-cases"): Case(READ),
    ("POST", "api/v1/farms/{farm}/cordon-cases"): Case(RECORD, body=lambda scene: scene.failing_cordon()),
    ("GET", "api/v1/farms/{farm}/cordon-cases/{case}"): Case(READ),
    ("DELETE", "api/v1/farms/{farm}/cordon-cases/{case}"): Case(RECORD_CHANGE, if_match=True),
    # One step, sent by one after the other: it is taken once.
    ("POST", "api/v1/farms/{farm}/cordon-cases/{case}/steps"): Case(
        (*RECORD[:-2], 200, 200),
        body=lambda scene: {
            "id": str(scene.ids["next_step"]),
            "step": "candidate_chosen",
            "happened_on": "2024-07-08",
            "inspection": str(scene.ids["inspection"]),
        },
        if_match=True,
    ),
    ("GET", "api/v1/farms/{farm}/vines/{vine}/timeline"): Case(READ),
    ("GET", "api/v1/farms/{farm}/cordon-durations"): Case(READ),
    ("GET", "api/v1/farms/{farm}/cordon-successes"): Case(READ),
    ("GET", "api/v1/farms/{farm}/exports"): Case(MANAGE_ONLY),
    ("POST", "api/v1/farms/{farm}/exports"): Case((*MANAGE_ONLY[:-1], 202)),
    ("GET", "api/v1/farms/{farm}/exports/{export}"): Case(MANAGE_ONLY),
    ("GET", "api/v1/farms/{farm}/exports/{export}/file"): Case(MANAGE_ONLY),  # 409 until it is written
    ("POST", "api/v1/farms/{farm}/erasure"): Case(MANAGE_ONLY, body=lambda scene: {"farm_name": scene.farm_name}),
    ("GET", "api/v1/farms/{farm}/changes"): Case(READ),
    ("POST", "api/v1/farms/{farm}/records"): Case(
        RECORD_CHANGE, body=lambda scene: [{"kind": "dormant_record", **scene.weighing()}]
    ),
    ("GET", "api/v1/farms/{farm}/imports"): Case(READ),
    ("POST", "api/v1/farms/{farm}/imports"): Case(
        ASKS_FOR_WORK,
        body=lambda _: CSV_OF_VINES,
        query="block=Imported&season=2027&map=plain",
        content_type="text/csv",
    ),
    ("GET", "api/v1/farms/{farm}/imports/{import_id}"): Case(READ),
    ("GET", "api/v1/farms/{farm}/imports/{import_id}/rows"): Case(READ),
    ("GET", "api/v1/farms/{farm}/pruner-calibration"): Case(READ, query="tolerance_percent=20"),
    ("GET", "api/v1/farms/{farm}/jobs"): Case(READ),
    ("GET", "api/v1/farms/{farm}/jobs/{job}"): Case(READ),
    # The job is an import: it takes the right to record. Whoever comes after the first finds it cancelled, or waiting.
    ("POST", "api/v1/farms/{farm}/jobs/{job}/cancellation"): Case(RECORD_CHANGE),
    ("POST", "api/v1/farms/{farm}/jobs/{job}/retry"): Case(ASKS_FOR_WORK),
}


def routes() -> Iterator[tuple[str, str]]:
    """Give every (method, route) that the service answers, as its URL resolver knows them."""
    yield from _walk(get_resolver().url_patterns, "")


def _walk(patterns: list[URLPattern | URLResolver], before: str) -> Iterator[tuple[str, str]]:
    for pattern in patterns:
        route = before + str(pattern.pattern).lstrip("^").rstrip("$")
        if isinstance(pattern, URLResolver):
            if pattern.namespace != "admin":  # its pages are for sessions of staff: tests/vineyard/test_staff_pages.py
                yield from _walk(pattern.url_patterns, route)
            continue
        named = _named(route)
        view = getattr(pattern.callback, "view_class", getattr(pattern.callback, "cls", None))
        for method in ("get", "post", "put", "patch", "delete"):
            if view is None:
                if method == "get":
                    yield "GET", named
            elif hasattr(view, method) and method in view.http_method_names:
                yield method.upper(), named


def _named(route: str) -> str:
    import re

    return re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", route)


@pytest.fixture(scope="module")
def stage(django_db_setup: None, django_db_blocker: Any) -> Iterator[tuple[Cast, Scene, list[Any]]]:
    """The cast and one of everything, set up once: each test works inside of it and is taken back."""
    with django_db_blocker.unblock(), transaction.atomic():
        have_catalogues()
        cast = make_cast()
        scene = make_scene(cast.owner, cast.farm, cast.program)
        leave_farms()
        yield cast, scene, list(scene.vines)
        transaction.set_rollback(True)


@pytest.fixture
def cast(stage, db) -> Cast:
    made: Cast = stage[0]
    return made


@pytest.fixture
def scene(stage, db) -> Scene:
    _, made, vines = stage
    return Scene(dict(made.ids), iter(vines), made.farm_name)


def make_scene(player: Any, farm: Any, program: Any) -> Scene:
    """Put one of everything on a farm, as its owner."""
    enter(player.caller)
    opened = open_farm(player.caller, farm.pk)
    block = create_block(opened, None, {"name": "Lower Terrace"}).row
    row = create_row(opened, block, None, 1).row
    plant_row(opened, row, 20)
    vines = iter(list(Vine.objects.for_farm(farm).filter(block=block).order_by("place")))
    scene = Scene(
        {"farm": farm.pk, "block": block.pk, "program": program.pk, "code": "not-found", "kind": "shoot_count"},
        vines,
        farm.name,
    )
    scene.ids |= {"row": row.pk, "vine": next(vines).pk, "record": uuid.uuid4()}
    helper = add_member(opened, email="helper@tern-hill.example", name="A. Helper", role="worker").row
    counted = give_consent(
        opened, None, Asked(purpose="summaries", text_version="summaries@1", program_id=program.pk)
    ).row
    key, _ = make_key(player.person, label="another key", scopes=["read"], valid_for=timedelta(days=1))
    scene.ids |= {"member": helper.pk, "consent": counted.pk, "key": key.pk}
    scene.ids |= _own_catalogue(player, farm, program)
    address = f"/api/v1/farms/{farm.pk}"
    for kind in KINDS.values():
        new = scene.new(kind, id=str(scene.ids["record"]))
        posted = player.client.post(f"{address}/{kind.path}", new, format="json")
        assert posted.status_code == 201, posted.json()
    scene.ids |= _own_case(player, address, scene)
    imported = player.client.post(
        f"{address}/imports?block=Imported&season=2027&map=plain", CSV_OF_VINES, content_type="text/csv"
    ).json()
    scene.ids["export"] = player.client.post(f"{address}/exports").json()["id"]
    asked = player.client.post(f"{address}/reports", {"season": 2027, "units": "metric"}, format="json")
    scene.ids["report"] = asked.json()["id"]
    wished = player.client.post(f"{address}/report-schedules", {"units": "metric"}, format="json")
    scene.ids["schedule"] = wished.json()["id"]
    scene.ids |= _own_receiver(player, address, scene)
    scene.ids |= {"import_id": imported["import"]["id"], "job": imported["job"]["id"]}
    return scene


def _own_receiver(player: Any, address: str, scene: Scene) -> dict[str, Any]:
    """Add a receiver with one message that waits for it, and a link to the report."""
    endpoint = player.client.post(f"{address}/webhook-endpoints", RECEIVER, format="json").json()["id"]
    delivery = player.client.post(f"{address}/webhook-endpoints/{endpoint}/test").json()["id"]
    made = player.client.post(f"{address}/reports/{scene.ids['report']}/links", {"form": "json"}, format="json").json()
    return {"endpoint": endpoint, "delivery": delivery, "token": made["url"].rpartition("/")[2]}


def _own_case(player: Any, address: str, scene: Scene) -> dict[str, Any]:
    """Open a case on the vine that was inspected; its first step is on record, the next has an id waiting."""
    sent = {**scene.failing_cordon(), "vine": str(_vine_inspected(player, address, scene)), "cordon": "right"}
    case = player.client.post(f"{address}/cordon-cases", sent, format="json").json()["id"]
    first = player.client.get(f"{address}/cordon-cases/{case}").json()["steps"][0]["id"]
    set_for_all = player.client.post(f"{address}/cordon-settings", {"blank_share_percent": 50}, format="json").json()
    return {
        "case": case,
        "settings": set_for_all["id"],
        "step": first,
        "next_step": uuid.uuid4(),
        "inspection": scene.ids["record"],
        "inspected_vine": sent["vine"],
    }


def _vine_inspected(player: Any, address: str, scene: Scene) -> Any:
    return player.client.get(f"{address}/cordon-inspections/{scene.ids['record']}").json()["vine"]


def _own_catalogue(player: Any, farm: Any, program: Any) -> dict[str, Any]:
    """Add a formula and a range of the farm's and of the program's own, and choose the farm's range for the farm."""
    lead = APIClient()
    _, text = make_key(
        ProgramMembership.objects.filter(program=program)[0].person, label="lead", scopes=["read", "manage"]
    )
    lead.credentials(HTTP_AUTHORIZATION=f"Bearer {text}")
    own = {"label": f"own of {farm.pk}", "source": f"trial of {farm.pk}"}
    for client, place, begins in (
        (player.client, f"farms/{farm.pk}", "own-"),
        (lead, f"programs/{program.pk}", "program-"),
    ):
        said = {"code": f"{begins}taught", **own}
        formula = client.post(f"/api/v1/{place}/formulas", own_formula("", **said), format="json")
        limits = client.post(f"/api/v1/{place}/ranges", own_range("", **said), format="json")
        assert (formula.status_code, limits.status_code) == (201, 201), (formula.json(), limits.json())
    chosen = {"measure": "mean_cane_weight", "range": "own-taught"}
    choice = player.client.post(f"/api/v1/farms/{farm.pk}/range-choices", chosen, format="json").json()["id"]
    asked = lead.post(f"/api/v1/programs/{program.pk}/reports", {"season": 2026, "units": "metric"}, format="json")
    taught = {"formula": "own-taught@1", "range": "own-taught@1", "choice": choice}
    counted = lead.post(f"/api/v1/programs/{program.pk}/benchmarks", {"season": 2026}, format="json")
    wished = {"hemisphere": "north", "units": "us"}
    assert lead.post(f"/api/v1/programs/{program.pk}/report-schedule", wished, format="json").status_code == 201
    return {**taught, "program_report": asked.json()["id"], "benchmark": counted.json()["id"]}


def ask(client: Any, method: str, route: str, case: Case, scene: Scene, headers: dict[str, str] | None = None) -> Any:
    headers = {**(headers or {}), **({"If-Match": "*"} if case.if_match else {})}
    body = case.body(scene) if case.body else None
    address = "/" + route.format(**{**scene.ids, **case.ids}) + (f"?{case.query}" if case.query else "")
    kwargs: dict[str, Any] = {"headers": headers}
    if body is not None:
        kwargs |= {"data": body}
        kwargs |= {"format": "json"} if case.content_type == "application/json" else {"content_type": case.content_type}
    return getattr(client, method.lower())(address, **kwargs)


def test_every_route_has_a_row_and_every_row_a_route():
    assert set(routes()) == set(MATRIX)


@pytest.mark.parametrize(("method", "route"), MATRIX)
def test_each_person_gets_what_the_table_says(method, route, cast, scene):
    case = MATRIX[method, route]
    clients = [getattr(cast, name) if name == "nobody" else getattr(cast, name).client for name in PEOPLE]
    got = tuple(ask(client, method, route, case, scene).status_code for client in clients)
    created_once = tuple(200 if status == 409 else status for status in got)  # the place was taken by the one before
    assert created_once == case.expected


@pytest.mark.parametrize(
    ("method", "route"), [key for key in MATRIX if "{farm}" in key[1] and key[1].startswith("api/")]
)
def test_a_foreign_farm_and_a_missing_one_are_told_apart_by_nothing(method, route, cast, scene):
    case = MATRIX[method, route]
    foreign = ask(cast.stranger.client, method, route, case, scene)
    missing = ask(cast.stranger.client, method, route, case, Scene({**scene.ids, "farm": uuid.uuid4()}, scene.vines))
    assert _without_ids(foreign) == _without_ids(missing)


def _without_ids(answer: Any) -> tuple[Any, ...]:
    body = answer.json()
    for member in ("instance", "request_id"):
        body.pop(member, None)
    headers = {name: value for name, value in answer.headers.items() if name not in {"X-Request-ID", "Content-Length"}}
    return answer.status_code, body, headers


@pytest.mark.parametrize(
    "slot",
    [
        "block",
        "vine",
        "record",
        "import_id",
        "job",
        "export",
        "report",
        "schedule",
        "member",
        "consent",
        "choice",
        "endpoint",
        "delivery",
    ],
)
def test_a_foreign_id_inside_ones_own_farm_is_the_same_as_none(slot, cast, scene):
    """The stranger puts an id of the first farm into an address of their own farm."""
    for method, route in [key for key in MATRIX if f"{{{slot}}}" in key[1] and key[1].startswith("api/")]:
        own = Scene({**scene.ids, "farm": cast.other_farm.pk}, scene.vines)
        none = Scene({**own.ids, slot: uuid.uuid4()}, scene.vines)
        answers = [ask(cast.stranger.client, method, route, MATRIX[method, route], where) for where in (own, none)]
        assert [answer.status_code for answer in answers] == [404, 404], (method, route)
        assert _without_ids(answers[0]) == _without_ids(answers[1])


def test_a_foreign_vine_in_a_body_is_refused_as_one_that_does_not_exist(cast, scene):
    url = f"/api/v1/farms/{cast.other_farm.pk}/dormant-records"
    foreign = cast.stranger.client.post(url, scene.weighing(), format="json")
    missing = cast.stranger.client.post(url, {**scene.weighing(), "vine": str(uuid.uuid4())}, format="json")
    assert foreign.status_code == missing.status_code == 422
    assert _without_ids(foreign) == _without_ids(missing)
    assert not DormantRecord.objects.for_farm(cast.other_farm).exists()


def test_every_slot_of_a_route_is_an_id_that_cannot_be_guessed_or_a_name_of_the_service():
    text_slots = {"code", "kind", "formula", "range", "form", "chart", "token"}  # a token is signed
    for pattern in _patterns(get_resolver().url_patterns):
        for name, converter in pattern.pattern.converters.items():
            assert isinstance(converter, UUIDConverter) or name in text_slots or name == "path"


def _patterns(patterns: list[URLPattern | URLResolver]) -> Iterator[URLPattern]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            if pattern.namespace != "admin":
                yield from _patterns(pattern.url_patterns)
        else:
            yield pattern
