"""Files of vines: good lines in, every doubtful value named, nothing lost, safe to repeat."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from records.imports.reading import read_table
from records.models import DormantRecord, ImportRow, RecordChange, Vine
from tests.records.desk import Desk

pytestmark = pytest.mark.django_db
COOMBE = Path(__file__).resolve().parents[3] / "shared" / "data" / "coombe2019.csv"
HEADINGS = "row,vine,pruning_weight\n"


def stored(desk: Desk) -> tuple[Any, ...]:
    records = DormantRecord.objects.for_farm(desk.farm)
    changes = RecordChange.objects.for_farm(desk.farm).exclude(entity="membership")
    vines = Vine.objects.for_farm(desk.farm)
    return (
        sorted(records.values_list("id", "version", "pruning_weight_kg")),
        sorted(vines.values_list("id", "version")),
        changes.count(),
        ImportRow.objects.for_farm(desk.farm).count(),
    )


@pytest.fixture
def real_vineyard(desk):
    if not COOMBE.exists():
        pytest.skip("the open data lies beside the project, in ../shared/data, and is not there")
    desk.answer = desk.send(COOMBE.read_bytes(), "")
    return desk


def test_the_real_vineyard_comes_in_whole_with_every_fault_named(real_vineyard):
    """352 lines; 30 totals that do not add up, 3 missing weights, 33 trunks that shrink, cordons of 23 and 62.9 cm."""
    found = real_vineyard.findings(real_vineyard.answer)
    by_code: dict[str, int] = {}
    for _, _, _, code in found:
        by_code[code] = by_code.get(code, 0) + 1
    assert by_code == {"sum_does_not_add_up": 30, "not_weighed": 3, "less_than_before": 33, "far_below_the_median": 2}
    assert (12, "total_shoots", "3", "sum_does_not_add_up") in found
    assert {value for _, _, value, code in found if code == "far_below_the_median"} == {"23.0", "62.9"}
    assert len(real_vineyard.lines(real_vineyard.answer)) == 352


def test_the_real_vineyards_statistics_are_the_published_ones_and_349_targets_come_out(real_vineyard):
    block = f"{real_vineyard.url}/blocks/{real_vineyard.answer.json()['import']['block']}"
    said = real_vineyard.viewer.client.get(f"{block}/statistics?season=2019").json()
    assert (said["n"], said["missing"]) == (349, 3)
    assert (round(said["mean"], 3), round(said["standard_deviation"], 3)) == (2.681, 0.926)
    assert round(said["coefficient_of_variation"], 1) == 34.5
    assert real_vineyard.viewer.client.get(f"{block}/targets").json()["with_target"] == 349


def test_the_same_file_again_changes_nothing(real_vineyard):
    before = stored(real_vineyard)
    again = real_vineyard.send(COOMBE.read_bytes(), "")
    assert again.json()["import"]["id"] == real_vineyard.answer.json()["import"]["id"]
    assert stored(real_vineyard) == before


def test_the_same_lines_in_another_file_are_known_one_by_one(real_vineyard):
    before = stored(real_vineyard)
    again = real_vineyard.send(COOMBE.read_bytes() + b"\n", "")
    assert {line["outcome"] for line in real_vineyard.lines(again)} == {"unchanged"}
    assert stored(real_vineyard)[:3] == before[:3]


def test_every_line_is_kept_as_sent_whatever_became_of_it(desk):
    answer = desk.send('row,vine,pruning_weight\n1,1,"1,2"\nx,2,1.0\n1,3,1.5,extra\n')
    assert [line["values"] for line in desk.lines(answer)] == [
        {"row": "1", "vine": "1", "pruning_weight": "1,2"},
        {"row": "x", "vine": "2", "pruning_weight": "1.0"},
        {"row": "1", "vine": "3", "pruning_weight": "1.5", "": ["extra"]},
    ]


@pytest.mark.parametrize(
    ("line", "column", "value", "code", "outcome"),
    [
        ("1,1,", "pruning_weight", "", "not_weighed", "created"),
        ("1,1,NA", "pruning_weight", "NA", "not_weighed", "created"),
        ("1,1,1.2kg", "pruning_weight", "1.2kg", "not_a_number", "created"),
        ('1,1,"3,9"', "pruning_weight", "3,9", "not_a_number", "created"),
        ("1,1,nan", "pruning_weight", "nan", "not_a_number", "created"),
        ("1,1,-1", "pruning_weight", "-1", "out_of_range", "created"),
        ("1,1,2800", "pruning_weight", "2800", "out_of_range", "created"),
        ("1,1,1.00000000000001", "pruning_weight", "1.00000000000001", "too_many_digits", "created"),
        ("first,1,1.2", "row", "first", "not_a_whole_number", "not_stored"),
        ("1,0,1.2", "vine", "0", "not_a_whole_number", "not_stored"),
        ("1,1.5,1.2", "vine", "1.5", "not_a_whole_number", "not_stored"),
        ("1,1", "pruning_weight", "", "ragged_line", "created"),
        ("1,1,3,9", "pruning_weight", "9", "ragged_line", "not_stored"),
    ],
)
def test_a_doubtful_value_is_named_with_line_column_and_reason(line, column, value, code, outcome, desk):
    answer = desk.send(f"row,vine,pruning_weight\n{line}\n1,9,1.5\n")
    assert (2, column, value, code) in desk.findings(answer)
    assert [each["outcome"] for each in desk.lines(answer)] == [outcome, "created"]
    assert DormantRecord.objects.for_farm(desk.farm).filter(imported_line=3).exists()


def test_a_vine_that_stands_twice_in_the_file_is_stored_once_and_both_lines_are_named(desk):
    answer = desk.send("row,vine,pruning_weight\n1,1,1.2\n1,1,1.4\n")
    finding = desk.lines(answer)[1]["findings"][0]
    assert (finding["code"], "line 2 is about the same vine" in finding["reason"]) == ("vine_twice", True)
    assert DormantRecord.objects.for_farm(desk.farm).count() == 1


def test_a_weight_on_record_stands_against_another_in_a_file(desk):
    desk.send("row,vine,pruning_weight\n1,1,1.2\n")
    answer = desk.send("row,vine,pruning_weight\n1,1,1.4\n")
    assert [line["outcome"] for line in desk.lines(answer)] == ["not_stored"]
    assert desk.findings(answer) == [(2, "pruning_weight", "1.4", "already_recorded")]


@pytest.mark.parametrize("content", ["row;vine;pruning_weight\n1;1;3,9\n", "row\tvine\tpruning_weight\n1\t1\t3.9\n",
                                     "\ufeffrow,vine,pruning_weight\r\n1,1,3.9\r\n", "row,vine,pruning_weight\n1,1,3.90"])  # fmt: skip
def test_the_usual_spreadsheets_ways_of_writing_csv_are_read(content, desk):
    desk.send(content)
    assert DormantRecord.objects.for_farm(desk.farm).get().pruning_weight_kg == pytest.approx(Decimal("3.9"))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "The file is empty"),
        (b"row,vine,pruning_weight\n1,1,\xff\n", "Line 2 is not UTF-8"),
        (b"row,row\n1,1\n", "'row' stands twice in line 1"),
        (b"row,vine,pruning_weight\n1,1,\x00\n", "Line 2 holds a null character"),
        (b'row,vine,pruning_weight\n1,1,"2\n', "cannot be read as CSV"),
        (b"row,vine,pruning_weight\n1,1," + b"9" * 17_000, "Line 2 has 17,004 characters"),
        (b"row,vine,pruning_weight\n" + b"1,1,1\n" * 20_001, "more than 20,000 vines"),
        (b"a,b\n1,2\n", "The file has no heading"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_with_the_line_and_the_way_out(content, words, desk):
    answer = desk.send(content)
    assert answer.status_code == 422
    assert words in answer.json()["detail"]


def test_headings_that_no_map_fits_are_answered_with_the_nearest_maps_lack(desk):
    answer = desk.send("row,plant,weight\n1,1,1\n", "")
    assert answer.status_code == 422
    assert "The nearest is 'plain', which also needs pruning_weight, vine" in answer.json()["detail"]


def test_a_thousand_lines_take_as_many_queries_as_ten(desk):
    from django.test.utils import CaptureQueriesContext

    counts = []
    for block, vines in (("Small", 10), ("Large", 400)):
        content = "row,vine,pruning_weight\n" + "".join(f"1,{place},1.5\n" for place in range(1, vines + 1))
        with CaptureQueriesContext(
            connection,
        ) as queries:
            desk.send(content, f"block={block}&season=2027&map=plain")
        counts.append(len(queries))
    assert counts[1] <= counts[0]


def test_no_weight_is_made_of_a_decimal_comma_that_separates(desk):
    """3,9 unquoted are two cells: 3 kg would be an invented weight."""
    answer = desk.send(HEADINGS + "1,1,3,9\n")
    assert not DormantRecord.objects.for_farm(desk.farm).exists()
    assert desk.lines(answer)[0]["values"] == {"row": "1", "vine": "1", "pruning_weight": "3", "": ["9"]}
    assert "Write decimals with a point" in desk.lines(answer)[0]["findings"][0]["reason"]


def test_empty_cells_at_the_end_of_a_line_say_nothing(desk):
    answer = desk.send(HEADINGS + "1,1,3.9,,\n")
    assert desk.findings(answer) == []
    assert DormantRecord.objects.for_farm(desk.farm).get().pruning_weight_kg == Decimal("3.9")


def test_twenty_thousand_vines_are_not_too_many_whatever_empty_lines_follow():
    content = HEADINGS + "1,1,1\n" * 20_000 + "\n\n"
    assert len(read_table(content.encode()).lines) == 20_000


def test_a_record_names_the_person_who_asked_for_the_import_and_the_line_that_it_came_from(desk):
    answer = desk.send(HEADINGS + "1,1,1.2\n")
    record = DormantRecord.objects.for_farm(desk.farm).get()
    assert (record.recorded_by, record.source, record.imported_line) == (desk.worker.person, "import", 2)
    assert str(record.imported_from_id) == answer.json()["import"]["id"]


def test_a_count_on_record_stands_against_another_in_a_file(desk):
    told = '{"headings": {"row": "row", "place": "vine", "nodes_retained": "kept"}}'
    first = desk.carried_out(desk.ask_in_a_form(b"row,vine,kept\n1,1,30\n", map=told, block="Lower", season="2027"))
    again = desk.carried_out(desk.ask_in_a_form(b"row,vine,kept\n1,1,31\n", map=told, block="Lower", season="2027"))
    assert desk.findings(first) == []
    assert desk.findings(again) == [(2, "kept", "31", "already_recorded")]
    assert "a count of 30, which stands" in desk.lines(again)[0]["findings"][0]["reason"]


def test_the_same_file_read_in_another_unit_is_another_import(desk):
    """Who sent pounds as kilograms and sends again with the right unit is not told that all is well."""
    headings = {"row": "row", "place": "vine", "pruning_weight": "w"}
    maps = [json.dumps({"headings": headings, "pruning_weight_unit": unit}) for unit in ("kg", "lb")]
    answers = [
        desk.carried_out(desk.ask_in_a_form(b"row,vine,w\n1,1,2.8\n", map=told, block="Lower", season="2027"))
        for told in maps
    ]
    assert answers[0].json()["import"]["id"] != answers[1].json()["import"]["id"]
    assert desk.findings(answers[1]) == [(2, "w", "2.8", "already_recorded")]
