"""How a file is taken in: tried first, by whom, and onto what is on record; and its report to take along."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest

from records.models import Block, DormantRecord, ImportRow, Row, Vine
from tests.records.desk import PLAIN

pytestmark = pytest.mark.django_db
WEIGHTS = "row,vine,pruning_weight\n1,1,1.25\n1,2,0.8\n"
BOTH = '{"headings": {"row": "row", "place": "vine", "pruning_weight": "pruning_weight", "nodes_retained": "nodes"}}'
COUNTS = '{"headings": {"row": "row", "place": "vine", "nodes_retained": "nodes"}}'


def counted(desk: Any, content: str, told: str = COUNTS, **more: str) -> Any:
    """Send a file of counts with a map of its own and take it in."""
    form = {"block": "Lower", "season": "2027", "map": told, **more}
    return desk.carried_out(desk.ask_in_a_form(content.encode(), **form))


def outcomes(desk: Any, answer: Any) -> list[str]:
    return [line["outcome"] for line in desk.lines(answer)]


def stored(desk: Any) -> list[tuple[Any, ...]]:
    rows = DormantRecord.objects.for_farm(desk.farm).order_by("vine__place")
    return list(rows.values_list("pruning_weight_kg", "nodes_retained", "version"))


# --- Dry runs ---------------------------------------------------------------------------------------------------


def test_a_dry_run_reports_every_line_and_stores_nothing_else(desk):
    answer = desk.send(f"{WEIGHTS}1,3,heavy\n1,3,2\n", f"{PLAIN}&dry_run=true")
    assert outcomes(desk, answer) == ["created", "created", "created", "not_stored"]
    assert [code for *_, code in desk.findings(answer)] == ["not_a_number", "vine_twice"]
    assert answer.json()["import"]["dry_run"] is True
    assert answer.json()["import"]["block"] is None
    for model in (Block, Row, Vine, DormantRecord):
        assert not model.objects.for_farm(desk.farm).exists()


def test_a_dry_run_reports_what_the_run_then_does(desk):
    desk.send("row,vine,pruning_weight\n1,2,0.9\n")
    lines = "".join(f"{1 + n // 400},{1 + n % 400},1.5\n" for n in range(1_100))  # three chunks
    dry, real = (desk.send(f"row,vine,pruning_weight\n{lines}", f"{PLAIN}{more}") for more in ("&dry_run=true", ""))
    told = [
        [(line["line"], line["outcome"], line["findings"], line["vine"], line["record"]) for line in desk.lines(answer)]
        for answer in (dry, real)
    ]
    assert told[0] == told[1]
    assert outcomes(desk, real).count("not_stored") == 1


def test_a_dry_run_is_made_anew_each_time(desk):
    first, second = (desk.send(WEIGHTS, f"{PLAIN}&dry_run=true") for _ in range(2))
    assert first.json()["import"]["id"] != second.json()["import"]["id"]


def test_a_dry_run_does_not_stand_in_the_way_of_the_run(desk):
    desk.send(WEIGHTS, f"{PLAIN}&dry_run=true")
    assert outcomes(desk, desk.send(WEIGHTS)) == ["created", "created"]
    assert len(stored(desk)) == 2


# --- Who may -----------------------------------------------------------------------------------------------------


def test_a_worker_takes_in_a_file_about_vines_that_stand(desk):
    desk.send(WEIGHTS.replace("1.25", "").replace("0.8", ""))
    desk.worker = desk.cast.worker
    assert outcomes(desk, desk.send(WEIGHTS)) == ["created", "created"]


def test_a_worker_plants_no_vine_by_a_file_and_is_told_who_may(desk):
    desk.send("row,vine,pruning_weight\n1,1,1.25\n")
    desk.worker = desk.cast.worker
    answer = desk.send(f"{WEIGHTS}7,1,1\n")
    assert outcomes(desk, answer) == ["unchanged", "not_stored", "not_stored"]
    finding = desk.lines(answer)[2]["findings"][0]
    assert (finding["code"], "'manage'" in finding["reason"]) == ("vine_unknown", True)
    assert (Vine.objects.for_farm(desk.farm).count(), Row.objects.for_farm(desk.farm).count()) == (1, 1)


@pytest.mark.parametrize("query", [PLAIN, f"{PLAIN}&dry_run=true"])
def test_a_worker_makes_no_block_by_a_file(query, desk):
    desk.worker = desk.cast.worker
    answer = desk.ask(WEIGHTS, query)
    assert (answer.status_code, "no block named 'Lower'" in answer.json()["detail"]) == (403, True)
    desk.open()
    assert not Block.objects.for_farm(desk.farm).exists()


def test_the_owner_sends_again_what_the_worker_could_not(desk):
    desk.send("row,vine,pruning_weight\n1,1,1.25\n")
    owner, desk.worker = desk.worker, desk.cast.worker
    desk.send(WEIGHTS)
    desk.worker = owner
    assert outcomes(desk, desk.send(WEIGHTS)) == ["unchanged", "created"]


# --- Onto what is on record ---------------------------------------------------------------------------------------


def test_counts_after_weights_complete_the_records_as_a_new_version(desk):
    first = desk.send(WEIGHTS)
    answer = counted(desk, "row,vine,nodes\n1,1,48\n1,2,30\n")
    assert outcomes(desk, answer) == ["completed", "completed"]
    assert [(float(kg), nodes, version) for kg, nodes, version in stored(desk)] == [(1.25, 48, 2), (0.8, 30, 2)]
    assert [line["record"] for line in desk.lines(answer)] == [line["record"] for line in desk.lines(first)]
    assert answer.json()["import"]["existing"] == "complete"


def test_the_version_before_stays_readable_with_the_file_as_the_reason(desk):
    desk.send(WEIGHTS)
    record = desk.lines(counted(desk, "row,vine,nodes\n1,1,48\n"))[0]["record"]
    (before,) = desk.viewer.client.get(f"{desk.url}/dormant-records/{record}/versions").json()["results"]
    assert (before["version"], before["record"]["nodes_retained"]) == (1, None)
    assert before["reason"] == "completed by the import of mine.csv"


def test_what_is_on_record_is_never_overwritten_and_the_rest_is_filled(desk):
    desk.send(WEIGHTS)
    answer = counted(desk, "row,vine,pruning_weight,nodes\n1,1,9,48\n1,2,0.8,30\n", BOTH)
    assert outcomes(desk, answer) == ["completed", "completed"]
    assert desk.findings(answer) == [(2, "pruning_weight", "9", "already_recorded")]
    assert [(float(kg), nodes) for kg, nodes, _ in stored(desk)] == [(1.25, 48), (0.8, 30)]


def test_a_file_that_keeps_what_exists_fills_nothing_and_says_what_would(desk):
    desk.send(WEIGHTS)
    answer = counted(desk, "row,vine,nodes\n1,1,48\n", existing="keep")
    assert outcomes(desk, answer) == ["not_stored"]
    assert "existing=complete would fill it" in desk.lines(answer)[0]["findings"][0]["reason"]
    assert [version for *_, version in stored(desk)] == [1, 1]


def test_a_file_of_counts_sent_twice_makes_one_version(desk):
    desk.send(WEIGHTS)
    counted(desk, "row,vine,nodes\n1,1,48\n")
    again = counted(desk, "row,vine,nodes\n1,1,48\n\n")
    assert outcomes(desk, again) == ["unchanged"]
    assert [version for *_, version in stored(desk)] == [2, 1]


def test_a_zero_is_a_count_and_is_not_filled_over(desk):
    counted(desk, "row,vine,nodes\n1,1,0\n")
    answer = counted(desk, "row,vine,nodes\n1,1,48\n")
    assert outcomes(desk, answer) == ["not_stored"]
    assert stored(desk)[0][1] == 0


def test_a_withdrawn_record_is_not_brought_back_by_a_file(desk):
    record = desk.lines(desk.send(WEIGHTS))[0]["record"]
    address = f"{desk.url}/dormant-records/{record}"
    assert desk.worker.client.delete(address, headers={"If-Match": "*"}).status_code == 200
    answer = desk.send(f"{WEIGHTS}\n")
    assert outcomes(desk, answer) == ["not_stored", "unchanged"]
    assert [code for *_, code in desk.findings(answer)] == ["withdrawn"]


# --- The report ---------------------------------------------------------------------------------------------------


def report(desk: Any, answer: Any, query: str = "as=csv", **headers: str) -> list[dict[str, str]]:
    address = f"{desk.url}/imports/{answer.json()['import']['id']}/rows?{query}"
    told = desk.viewer.client.get(address, headers=headers)
    assert told["Content-Type"] == "text/csv"
    assert told["Content-Disposition"] == 'attachment; filename="import-report.csv"'
    assert told["X-Content-Type-Options"] == "nosniff"
    return list(csv.DictReader(io.StringIO(told.content.decode(), newline="")))


@pytest.mark.parametrize(
    ("content", "query", "named"),
    [
        (WEIGHTS, f"{PLAIN}&existing=update", {"parameter": "existing"}),
        (WEIGHTS, f"{PLAIN}&sheet=One", {"parameter": "sheet"}),
        (WEIGHTS, "season=2027", {"parameter": "block"}),
        ("", PLAIN, {"pointer": "#"}),
    ],
)
def test_a_refusal_tells_the_address_from_the_file(content, query, named, desk):
    error = desk.ask(content, query).json()["errors"][0]
    assert {name: error[name] for name in ("parameter", "pointer") if name in error} == named


def test_the_report_is_a_file_with_a_line_a_finding(desk):
    answer = desk.send("row,vine,pruning_weight\n1,1,1.25\nx,y,heavy\n")
    told = report(desk, answer)
    assert [(line["line"], line["outcome"], line["column"], line["value"], line["code"]) for line in told] == [
        ("2", "created", "", "", ""),
        ("3", "not_stored", "row", "x", "not_a_whole_number"),
        ("3", "not_stored", "vine", "y", "not_a_whole_number"),
        ("3", "not_stored", "pruning_weight", "heavy", "not_a_number"),
    ]
    assert report(desk, answer, "", Accept="text/csv") == told
    assert len(report(desk, answer, "as=csv&with_findings=false")) == 1


def test_no_cell_of_the_report_is_a_formula(desk):
    answer = desk.send('row,vine,pruning_weight\n1,1,"=cmd|\'/c calc\'!A1"\n1,2,"@SUM(1)"\n1,3,"\uff1d1"\n')
    assert [line["value"] for line in report(desk, answer)] == ["'=cmd|'/c calc'!A1", "'@SUM(1)", "'\uff1d1"]


def test_more_lines_than_a_page_holds_are_in_one_report(desk):
    """Here by lines put in beside the door, so that the test takes no minute."""
    answer = desk.send("row,vine,pruning_weight\n1,1,1.25\n")
    imported = answer.json()["import"]["id"]
    ImportRow.objects.bulk_create(
        ImportRow(farm=desk.farm, imported_id=imported, line=number, values={}, outcome="unchanged")
        for number in range(3, 3_000)
    )
    assert len(report(desk, answer)) == 2_998
