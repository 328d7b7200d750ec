"""Column maps: chosen by the headings, or sent with the file, and believed only when every member is sound."""

from __future__ import annotations

import json

import pytest

from records.errors import NotValid
from records.imports.column_maps import read_map
from records.models import DormantRecord

pytestmark = pytest.mark.django_db
HEADINGS = {"row": "row", "place": "vine", "pruning_weight": "w"}


def test_headings_that_no_map_fits_are_answered_with_the_nearest_maps_lack(desk):
    answer = desk.send("row,plant,weight\n1,1,1\n", "")
    assert answer.status_code == 422
    assert "The nearest is 'plain', which also needs pruning_weight, vine" in answer.json()["detail"]
    assert "fixtures/column_maps" in answer.json()["detail"]


def test_a_map_of_ones_own_may_come_with_the_file_in_a_form(desk):
    """2.8 lb are 1.270058636 kg (the international pound, NIST SP 811)."""
    told = {"headings": {"row": "R", "place": "P", "pruning_weight": "lb"}, "pruning_weight_unit": "lb"}
    asked = desk.ask_in_a_form(b"R,P,lb\n1,1,2.8\n", map=json.dumps(told), block="Lower", season="2027")
    answer = desk.carried_out(asked)
    assert (answer.status_code, answer.json()["import"]["file_name"]) == (202, "mine.csv")
    assert desk.weights(answer) == {("", 1): 1.270058636}


def test_a_map_whose_headings_the_file_lacks_is_refused_with_those_it_has(desk):
    answer = desk.send("a,b\n1,2\n")
    assert answer.status_code == 422
    assert "no heading 'pruning_weight', which the column map 'plain' needs. It has: a, b" in answer.json()["detail"]


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"colour": 1}, "'colour' is no member of a column map"),
        ({"headings": {"row": "row", "moon": "m"}}, "'moon' is no member of the headings"),
        ({"headings": {"place": "vine"}}, "row must be among them"),
        ({"headings": {"row": 5}}, "the map's headings.row is a text"),
        ({"pruning_weight_unit": "ton"}, "'ton' can mean several units"),
        ({"pruning_weight_unit": "m"}, "'m' is no unit of mass"),
        ({"pruning_weight_unit": 5}, "the map's pruning_weight_unit is a text"),
        ({"season": "2027"}, "the map's season is a harvest year"),
        ({"season": True}, "the map's season is a harvest year"),
        ({"season": float("nan")}, "the map's season is a harvest year"),
        ({"about": "\x00"}, "none of them a control character"),
        ({"about": "\ud800"}, "none of them a control character"),
        ({"block": 5}, "the map's block is an object"),
        ({"block": {"name": ["x"]}}, "the map's block.name is a text"),
        ({"farm": {"owner": "x"}}, "'owner' is no member of the farm of a column map"),
        ({"checks": 5}, "the map's checks are a list"),
        ({"checks": [{"kind": ["x"]}]}, "the kinds of check are"),
        ({"checks": [{"kind": "guess"}]}, "the kinds of check are"),
        ({"checks": [{"kind": "range", "column": "w", "low": 0}]}, "range with column, low, high"),
        ({"checks": [{"kind": "range", "column": "w", "low": 0, "high": "9"}]}, "the high of a check is a number"),
        ({"checks": [{"kind": "range", "column": "w", "low": 0, "high": 10**400}]}, "the high of a check is a number"),
        ({"checks": [{"kind": "sum", "total": "w", "parts": 3}]}, "the parts of a check are a list"),
        ({"checks": [{"kind": "sum", "total": "w", "parts": [3]}]}, "the map's check's parts is a text"),
    ],
)  # fmt: skip
def test_a_map_that_says_nothing_clear_is_refused_with_a_sentence(more, words):
    with pytest.raises(NotValid) as refused:
        read_map({"headings": HEADINGS, **more})
    assert words.lower() in refused.value.detail.lower()


@pytest.mark.parametrize("told", ["{", "[]", '{"headings": 5}', "no-such-map", '{"headings": {"row": "w"}, "block": 5}',
                                  '{"headings": {"row": "w"}, "checks": [{"kind": "sum", "total": 5, "parts": 3}]}'])  # fmt: skip
def test_a_bad_map_in_a_form_is_an_answer_that_points_at_it(told, desk):
    answer = desk.ask_in_a_form(b"w\n1\n", map=told, block="Lower", season="2027")
    assert answer.status_code == 422, answer.content
    assert answer.json()["errors"][0]["pointer"] == "#/map"
    assert not DormantRecord.objects.for_farm(desk.farm).exists()


def test_what_the_checks_of_a_map_doubt_is_named_and_the_weight_comes_in(desk):
    checks = [
        {"kind": "sum", "total": "all", "parts": ["a", "b"]},
        {"kind": "not_less", "column": "b", "than": "a"},
        {"kind": "range", "column": "a", "low": 0, "high": 9},
    ]
    told = json.dumps({"headings": HEADINGS, "checks": checks})
    content = b"row,vine,w,a,b,all\n1,1,1.5,10,2,13\n1,2,1.4,1,2,3\n"
    answer = desk.carried_out(desk.ask_in_a_form(content, map=told, block="Lower", season="2027"))
    assert sorted(desk.findings(answer)) == [(2, "a", "10", "out_of_range"), (2, "all", "13", "sum_does_not_add_up"),
                                             (2, "b", "2", "less_than_before")]  # fmt: skip
    assert desk.weights(answer) == {("", 1): 1.5, ("", 2): 1.4}
