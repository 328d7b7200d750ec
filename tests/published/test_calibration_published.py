"""Guesses against the scale: the statistics against published factors and examples; the source beside each number.

READ: the figure was read in the source. READ*: in a source of low authority.
"""

from __future__ import annotations

import math

import pytest

from balance.formulas.guesses.agreement_factors import LIMITS, bias_margin, limit_factors
from balance.formulas.guesses.calibration import AGREEMENT, Differences, agreement_of
from balance.formulas.guesses.eye_trust import FEWEST_FOR_TRUST, TRUST, trust_in
from balance.formulas.methods import NO_SOURCE


def test_limits_of_agreement_are_1_96_standard_deviations_either_side_of_the_mean():
    """Bland & Altman 1999, Stat. Methods Med. Res. 8:135-160, abstract (READ)."""
    agreement = agreement_of(Differences(50, -2.0, 10.0, 100.0))
    assert round(LIMITS, 2) == 1.96
    assert (agreement.low, agreement.high) == pytest.approx((-21.6, 17.6), abs=0.01)


@pytest.mark.parametrize(
    ("n", "printed"),
    [(4, 1.59), (5, 1.24), (6, 1.05), (7, 0.92), (8, 0.84), (9, 0.77), (10, 0.72), (12, 0.64), (20, 0.47), (25, 0.41),
     (30, 0.37), (40, 0.32), (60, 0.26)],
)  # fmt: skip
def test_the_interval_of_a_mean_reaches_as_many_deviations_as_tabled(n, printed):
    """Statistics for Environmental Engineers, table 21.1, t / sqrt(n) at 95 % (READ*; the print of n = 15 is a slip)."""
    assert bias_margin(n, 1.0, 0.95) == pytest.approx(printed, abs=0.0051)


def test_the_one_sided_factor_of_40_values_is_that_of_the_noncentral_t_distribution():
    """real-statistics.com, tolerance interval example: n = 40, 90 % of a population, 99 % sure: 1.9017 (READ*)."""
    assert limit_factors(40, 0.98, share=0.9)[1] == pytest.approx(1.9017, abs=0.00005)


def test_the_approximation_in_print_for_43_values_is_near_the_exact_factor():
    """NIST/SEMATECH e-Handbook 7.2.6.3: 1.8752 by the approximation (READ* at second hand), for 90 and 99 %."""
    assert limit_factors(43, 0.98, share=0.9)[1] == pytest.approx(1.8752, abs=0.002)


def test_few_values_make_the_exact_limits_wider_than_the_approximation_of_1999():
    """Carkeet & Goh, abstract: the outer limits by Bland & Altman are too permissive below 40 values (READ).

    Their standard error of a limit: s * sqrt(1/n + 1.96^2 / (2 (n - 1))) (from memory).
    """
    for n in (5, 10, 20, 39):
        error = math.sqrt(1 / n + LIMITS**2 / (2 * (n - 1)))
        approximate = LIMITS + bias_margin(n, 1.0, 0.95) * math.sqrt(n) * error
        assert limit_factors(n, 0.95)[1] > approximate


def test_an_eye_is_trusted_from_20_weighings_on_and_not_before():
    """Westover, Wines & Vines, May 2016: count the first 20 vines (READ, of nodes); as a limit for guesses: ours."""
    perfect = [agreement_of(Differences(n, 0.0, 0.0, 1.0)) for n in (3, 19, 20)]
    assert [trust_in(each, 0.1).verdict for each in perfect] == ["cannot_tell_yet", "cannot_tell_yet", "trusted"]
    assert (FEWEST_FOR_TRUST, trust_in(perfect[0], 0.1).more) == (20, 17)


def test_the_criterion_is_said_to_be_ours_and_the_statistics_to_be_published():
    assert (TRUST.mark, "no source" in TRUST.source) == (NO_SOURCE, True)
    assert AGREEMENT.mark == "READ" and "Bland & Altman" in AGREEMENT.source
