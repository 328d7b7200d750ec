"""A chart of a report is served by itself, as a drawing or as what it is drawn from."""

from __future__ import annotations

import json
import uuid

import pytest

from balance.reports.charts import svg_of
from records.services import jobs

WHEN = "2027-01-16T10:02:00-05:00"


@pytest.fixture
def told(desk):
    """A report with charts, and the document that it is."""
    for place, pounds in enumerate((2, 2.5, 3, 3.25, 4)):
        sent = {"vine": str(desk.yard.vines[place].pk), "observed_at": WHEN}
        weight = {"pruning_weight": {"value": pounds, "unit": "lb"}}
        made = desk.yard.client.post(f"{desk.yard.url}/dormant-records", sent | weight, format="json")
        assert made.status_code == 201
    report = desk.made()
    return report, desk.document(report)


def charts_of(document):
    return [
        (page["block"], chart)
        for page in document["blocks"]
        for section in page["sections"]
        for chart in section["charts"]
    ]


def get(desk, report, block, chart, **more):
    return desk.yard.client.get(f"{desk.url}/{report['id']}/charts/{block}/{chart}", **more)


def test_every_chart_of_a_report_is_served_as_the_specification_that_it_is_drawn_from(desk, told):
    report, document = told
    assert charts_of(document)
    for block, chart in charts_of(document):
        answer = get(desk, report, block, chart["code"])
        assert answer.status_code == 200
        assert answer["Content-Type"] == "application/json"
        assert json.loads(answer.content) == chart["spec"]


@pytest.mark.parametrize("asked", [{"data": {"as": "svg"}}, {"headers": {"accept": "image/svg+xml"}}])
def test_a_chart_is_drawn_where_a_drawing_is_asked_for_and_runs_nothing(desk, told, asked):
    report, document = told
    block, chart = charts_of(document)[0]
    answer = get(desk, report, block, chart["code"], **asked)
    assert answer["Content-Type"] == "image/svg+xml"
    assert answer.content.decode() == svg_of(chart["spec"])
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Security-Policy"].startswith("sandbox; default-src 'none'")


def test_a_chart_that_the_report_does_not_have_is_not_found(desk, told):
    report, document = told
    block, chart = charts_of(document)[0]
    assert get(desk, report, block, "no-such-chart").status_code == 404
    assert get(desk, report, uuid.uuid4(), chart["code"]).status_code == 404
    assert get(desk, {"id": uuid.uuid4()}, block, chart["code"]).status_code == 404


def test_a_form_that_no_chart_has_is_refused(desk, told):
    report, document = told
    block, chart = charts_of(document)[0]
    assert get(desk, report, block, chart["code"], data={"as": "png"}).status_code == 400


def test_a_report_that_is_not_made_yet_has_no_charts_and_says_so(desk, monkeypatch):
    monkeypatch.setattr(jobs, "run", lambda *_: None)
    asked = desk.ask().json()
    answer = get(desk, asked, desk.yard.block.pk, "weights")
    assert answer.status_code == 409
    assert "not made yet" in answer.json()["detail"]
