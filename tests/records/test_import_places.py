"""Which vine a line is about: said by a place, told by a label, counted only where nothing speaks against it."""

from __future__ import annotations

import json

import pytest

pytestmark = pytest.mark.django_db
BY_LABEL = json.dumps({"headings": {"row": "row", "label": "vine", "rootstock": "on", "pruning_weight": "kg"}})
BY_PLACE = json.dumps({"headings": {"row": "row", "place": "place", "label": "vine", "pruning_weight": "kg"}})
WITHOUT_EITHER = json.dumps({"headings": {"row": "row", "pruning_weight": "kg"}})


@pytest.fixture
def take(desk):
    """Take in lines of row 1 by a column map, for a season."""

    def taken(column_map, headings, *lines, season=2027):
        content = "\n".join([headings, *(f"1,{line}" for line in lines)]).encode()
        asked = desk.ask_in_a_form(content, map=column_map, block="Lower", season=str(season))
        assert asked.status_code == 202, asked.content
        return desk.carried_out(asked)

    return taken


@pytest.fixture
def labelled(take):
    """A row of three vines that a file named A, B and C and counted in its order."""

    def taken(*lines, season=2028):
        return take(BY_LABEL, "row,vine,on,kg", *lines, season=season)

    taken("A,Ramsey,1.0", "B,Ramsey,2.0", "C,Ramsey,3.0", season=2027)
    return taken


def codes(desk, answer):
    return [code for *_, code in desk.findings(answer)]


def test_a_vine_that_is_gone_from_next_winters_file_moves_no_weight_to_its_neighbour(labelled, desk):
    answer = labelled("B,Ramsey,2.1", "C,Ramsey,3.1")
    assert desk.weights(answer, 2028) == {("B", 2): 2.1, ("C", 3): 3.1}
    assert [(line["outcome"], line["findings"]) for line in desk.lines(answer)] == [("created", [])] * 2


def test_the_order_of_the_lines_is_free_where_they_bear_labels(labelled, desk):
    answer = labelled("C,Ramsey,3.1", "A,Ramsey,1.1", "B,Ramsey,2.1")
    assert desk.weights(answer, 2028) == {("A", 1): 1.1, ("B", 2): 2.1, ("C", 3): 3.1}


def test_a_new_label_gets_the_next_free_place_and_is_named(labelled, desk):
    answer = labelled("X,Ramsey,4.0", "A,Ramsey,1.1")
    assert desk.weights(answer, 2028) == {("A", 1): 1.1, ("X", 4): 4.0}
    assert codes(desk, answer) == ["place_taken"]


def test_a_line_without_its_label_is_not_guessed_to_be_the_vine_in_its_order(labelled, desk):
    answer = labelled(",Ramsey,2.1")
    assert desk.weights(answer, 2028) == {}
    assert codes(desk, answer) == ["label_missing"]


def test_a_label_that_another_row_holds_is_not_stored_and_says_where_it_stands(desk, labelled):
    asked = desk.ask_in_a_form(b"row,vine,on,kg\n2,A,Ramsey,1.1\n", map=BY_LABEL, block="Lower", season="2028")
    answer = desk.carried_out(asked)
    assert codes(desk, answer) == ["label_elsewhere"]
    assert "stands at row 1, place 1" in desk.lines(answer)[0]["findings"][0]["reason"]


def test_a_label_at_another_place_than_on_record_is_not_stored(take, desk, labelled):
    answer = take(BY_PLACE, "row,place,vine,kg", "2,A,1.1", season=2028)
    assert (codes(desk, answer), desk.weights(answer, 2028)) == (["label_elsewhere"], {})


def test_another_label_at_a_place_that_is_said_is_named_and_the_weight_comes_in(take, desk, labelled):
    answer = take(BY_PLACE, "row,place,vine,kg", "2,Z,2.1", season=2028)
    assert (codes(desk, answer), desk.weights(answer, 2028)) == (["differs_from_record"], {("B", 2): 2.1})


def test_a_label_for_a_vine_that_has_none_on_record_is_named_and_the_weight_comes_in(take, desk):
    take(WITHOUT_EITHER, "row,kg", "1.0", "2.0")
    answer = take(BY_LABEL, "row,vine,on,kg", "A,,1.1", season=2028)
    assert (codes(desk, answer), desk.weights(answer, 2028)) == (["label_not_on_record"], {("", 1): 1.1})


def test_without_place_and_label_the_order_in_the_row_is_the_place(take, desk):
    answer = take(WITHOUT_EITHER, "row,kg", "1.0", "2.0")
    assert desk.weights(answer) == {("", 1): 1.0, ("", 2): 2.0}


def test_a_rootstock_that_differs_is_named_and_the_one_on_record_stands(labelled, desk):
    answer = labelled("A,SO 4,1.1")
    assert desk.findings(answer) == [(2, "on", "SO 4", "differs_from_record")]
    assert desk.weights(answer, 2028) == {("A", 1): 1.1}


def test_labels_that_begin_anew_in_each_row_are_answered_with_the_way_out(take, desk):
    answer = take(BY_LABEL, "row,vine,on,kg", "7,,1.0", "7,,1.1")
    assert [line["outcome"] for line in desk.lines(answer)] == ["created", "not_stored"]
    reason = desk.lines(answer)[1]["findings"][0]["reason"]
    assert "line 2 bears the same label" in reason
    assert "let the map call the column place" in reason


def test_a_label_too_long_to_keep_is_not_cut_to_another_vines(take, desk):
    answer = take(BY_LABEL, "row,vine,on,kg", f"{'v' * 60}1,,1.0", f"{'v' * 60}2,,2.0")
    assert codes(desk, answer) == ["too_long", "too_long"]
    assert desk.weights(answer) == {("", 1): 1.0, ("", 2): 2.0}
