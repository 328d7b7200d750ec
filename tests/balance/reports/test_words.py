"""Numbers are written alike in every form of a report."""

from __future__ import annotations

import doctest

import pytest

from balance.reports import document, words


def test_the_examples_in_the_documentation_hold():
    tried = doctest.testmod(words)
    assert (tried.failed, tried.attempted >= 6) == (0, True)


def test_every_standing_confidence_and_verdict_has_a_word():
    assert tuple(words.STANDING_WORDS) == document.STANDINGS
    assert tuple(words.CONFIDENCE_WORDS) == document.CONFIDENCES
    assert set(words.VERDICT_WORDS) == {"below", "within", "above"}


@pytest.mark.parametrize(("low", "high", "said"), [(0.3, None, "from 0.3"), (None, 0.6, "up to 0.6"), (None, None, "")])
def test_a_range_may_be_open_at_either_end(low, high, said):
    figure = {"range_low": low, "range_high": high, "unit": "", "digits": 1}
    assert words.range_of(figure) == said


def test_nothing_is_written_as_minus_zero():
    assert words.number(-0.0) == words.number(-0.3) == "0"


@pytest.mark.parametrize("unit", sorted(words.COUNTED))
def test_one_of_what_is_counted_is_written_without_a_plural(unit):
    one, none, more = (words.value_of({"value": value, "unit": unit, "digits": 0}) for value in (1, 0, 2))
    assert one == f"1\N{NO-BREAK SPACE}{unit[:-1]}"
    assert (none, more) == (f"0\N{NO-BREAK SPACE}{unit}", f"2\N{NO-BREAK SPACE}{unit}")


def test_a_unit_that_is_measured_is_written_as_it_is():
    assert words.value_of({"value": 1, "unit": "lb", "digits": 0}) == "1\N{NO-BREAK SPACE}lb"
