"""After weighing: the mean, how far off it may be, and whether more vines are needed."""

from __future__ import annotations

import math
from typing import Any

import pytest
from scipy import stats

from tests.balance.api.plot import UNEVEN, Plot

pytestmark = pytest.mark.django_db


@pytest.fixture
def plot(cast) -> Plot:
    return Plot(cast)


def progress(plot: Plot, query: str = "season=2027") -> dict[str, Any]:
    return plot.told("sample-progress", query)


def test_the_mean_and_its_interval_are_scipys_with_the_finite_correction(plot):
    plot.weigh(UNEVEN)
    body = progress(plot)
    mean, error = sum(UNEVEN) / 12, float(stats.sem(UNEVEN)) * math.sqrt(1 - 12 / 30)
    half = error * float(stats.t.ppf(0.975, 11))
    assert (body["weighed"], body["population"]) == (12, 30)
    assert body["mean"]["value"] == pytest.approx(mean)
    assert (body["low"]["value"], body["high"]["value"]) == pytest.approx((mean - half, mean + half))
    assert body["achieved_error"]["value"] == pytest.approx(100 * half / mean)


def test_it_says_how_many_more_vines_are_needed_and_when_they_are_enough(plot):
    plot.weigh(UNEVEN)
    wanting, contented = progress(plot), progress(plot, "season=2027&error=20")
    assert (wanting["enough"], contented["enough"], contented["vines_more"]["value"]) == (False, True, 0)
    assert wanting["vines_needed"]["value"] == 12 + wanting["vines_more"]["value"]


def test_a_vine_that_was_not_weighed_counts_as_not_weighed_and_never_as_zero(plot):
    plot.weigh([1.0, None, 3.0])
    assert (progress(plot)["weighed"], progress(plot)["mean"]["value"]) == (2, 2.0)


def test_missing_vines_are_no_part_of_the_block_unless_they_were_weighed(plot):
    plot.weigh([1.0, 3.0])
    for vine in (plot.vines[0], plot.vines[29]):
        plot.tell(vine, "missing", "2027-05-01")
    assert progress(plot)["population"] == 29


def test_pounds_are_the_same_advice_as_kilograms(plot):
    plot.weigh([round(each / 0.45359237, 9) for each in (0.9, 1.6, 1.2, 0.7)], unit="[lb_av]")
    kilograms, pounds = progress(plot), progress(plot, "season=2027&unit=[lb_av]")
    assert pounds["mean"]["unit"] == "[lb_av]"
    assert pounds["mean"]["value"] == pytest.approx(1.1 / 0.45359237)
    assert (kilograms["vines_more"], kilograms["achieved_error"]) == (pounds["vines_more"], pounds["achieved_error"])
    plot.weigh([0.9, 1.6, 1.2, 0.7], 2028)
    assert progress(plot, "season=2028")["vines_more"] == pounds["vines_more"]


def test_few_weights_are_called_rough_and_any_are_said_to_be_taken_for_random(plot):
    plot.weigh(UNEVEN[:4])
    few = progress(plot)["cautions"]
    plot.weigh([None] * 4 + list(UNEVEN[4:]))
    enough = progress(plot)["cautions"]
    assert all(any("systematic" in each for each in said) for said in (few, enough))
    assert [any("rough" in each for each in said) for said in (few, enough)] == [True, False]


def test_one_weight_has_no_interval_and_the_earlier_season_says_what_is_needed(plot):
    plot.weigh(UNEVEN, 2026)
    plot.weigh([1.5])
    body = progress(plot)
    assert (body["mean"]["value"], body["low"]["value"], body["enough"]) == (1.5, None, False)
    assert "needs two" in body["low"]["reason"]
    assert body["vines_more"]["value"] == body["vines_needed"]["value"] - 1
    assert "season 2026" in body["cautions"][0]


def test_before_the_first_weighing_it_says_what_is_needed(plot):
    body = progress(plot, "season=2027")
    assert (body["weighed"], body["mean"]["value"], body["vines_more"]["value"]) == (0, None, 20)
    assert "No vine" in body["mean"]["reason"]


def test_without_a_season_the_newest_one_answers(plot):
    plot.weigh(UNEVEN, 2025)
    assert progress(plot, "")["season"] == 2025


def test_every_vine_weighed_is_the_mean_itself(plot):
    plot.weigh([1.0 + number / 10 for number in range(30)])
    body = progress(plot, "season=2027&error=1&confidence=99")
    assert (body["achieved_error"]["value"], body["enough"], body["vines_more"]["value"]) == (0, True, 0)
    assert body["low"]["value"] == body["high"]["value"] == pytest.approx(2.45)


def test_weights_of_zero_have_an_interval_but_no_share_of_zero(plot):
    plot.weigh([0.0, 0.0, 0.0])
    body = progress(plot)
    assert (body["mean"]["value"], body["achieved_error"]["value"], body["enough"]) == (0, None, None)
    assert "zero" in body["achieved_error"]["reason"]
    assert "zero" in body["vines_more"]["reason"]


def test_a_block_without_vines_has_reasons_and_no_numbers(cast, plot):
    made = cast.owner.client.post(f"{plot.url}/blocks", {"name": "Bare ground"}, format="json").json()
    body = cast.viewer.client.get(f"{plot.url}/blocks/{made['id']}/sample-progress?season=2027").json()
    assert (body["population"], body["mean"]["value"], body["vines_needed"]["value"]) == (0, None, None)
    assert "nothing to weigh" in body["vines_needed"]["reason"]


def test_it_takes_the_same_number_of_queries_for_any_block(plot, django_assert_max_num_queries):
    plot.weigh(UNEVEN)
    with django_assert_max_num_queries(17):
        progress(plot)
