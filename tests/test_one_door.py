"""No query begins anywhere but behind the door: the source is read to make sure."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
FARM_MODELS = {
    "Block",
    "Consent",
    "Visit",
    "Row",
    "Vine",
    "DormantRecord",
    "BudSample",
    "ShootCount",
    "ClusterCount",
    "HarvestRecord",
    "CordonInspection",
    "VineEvent",
    "CordonCase",
    "CordonStep",
    "CordonSettings",
    "BenchmarkPart",
    "Report",
    "ReportFile",
    "ReportFormula",
    "ReportSchedule",
    "WebhookEndpoint",
    "WebhookDelivery",
    "Job",
    "Import",
    "ImportRow",
    "Membership",
    "KeptAnswer",
    "RecordChange",
    "Export",
    "ExportPart",
    "PruningTarget",
    "RangeChoice",
    "BlockSeason",
    "BlockSeasonMark",
}
MAY_BEGIN = {"for_farm", "none", "bulk_create", "create", "update_or_create"}
#: The door itself finds a person's roles and consents before any farm is open; row-level security shows only theirs.
DOOR = {("records/access.py", "Membership", "filter"), ("records/access.py", "Consent", "filter")}


def beginnings(path: Path) -> Iterator[tuple[str, str, str]]:
    """Give (file, model, method) for every ``Model.objects.method``."""
    for node in ast.walk(ast.parse(path.read_text())):
        if not (isinstance(node, ast.Attribute) and isinstance(node.value, ast.Attribute)):
            continue
        manager = node.value
        if manager.attr in {"objects", "_default_manager"} and isinstance(manager.value, ast.Name):
            yield str(path.relative_to(ROOT)), manager.value.id, node.attr


@pytest.mark.parametrize("package", ["records", "balance", "vineyard"])
def test_every_query_on_a_farms_rows_begins_with_the_farm(package):
    found = {
        beginning
        for path in (ROOT / package).rglob("*.py")
        for beginning in beginnings(path)
        if beginning[1] in FARM_MODELS and beginning[2] not in MAY_BEGIN
    }
    assert found - DOOR == set()


def test_the_list_of_farm_models_is_complete():
    from django.apps import apps

    owned = {
        model.__name__
        for model in apps.get_models()
        if model._meta.app_label in {"records", "balance"}
        and any(f.attname == "farm_id" for f in model._meta.concrete_fields)
    }
    assert owned - {"JobTicket"} == FARM_MODELS
