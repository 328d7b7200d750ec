"""The OpenAPI document keeps every recommended rule of a linter that none of us wrote."""

from __future__ import annotations

import json

import pytest

from tests.contract.conftest import HERE

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]


def test_the_linter_finds_no_error_and_no_warning(document, node):
    config = str(HERE / "redocly.yaml")
    report = json.loads(
        node("redocly", "lint", str(document), "--config", config, "--format", "json", cwd=document.parent)
    )
    assert report["totals"] == {"errors": 0, "warnings": 0, "ignored": 0}, report["problems"]


def test_the_linter_would_find_a_fault(document, node, tmp_path):
    """Take away what a reader needs, and the linter says so: the pass above means something."""
    spoilt = tmp_path / "spoilt.yaml"
    spoilt.write_text(document.read_text().replace("operationId:", "x-no-operation-id:"))
    arguments = ["lint", str(spoilt), "--config", str(HERE / "redocly.yaml"), "--format", "json"]
    report = json.loads(node("redocly", *arguments, cwd=tmp_path))
    assert {problem["ruleId"] for problem in report["problems"]} == {"operation-operationId"}
