"""In which band a block lies: symmetrical about the mean, the same in every unit, and never without a spread."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from balance.formulas.benchmarks.bands import BANDS, band_of
from balance.formulas.errors import OutOfRange

FIGURES = st.floats(0.01, 1e4, allow_nan=False)


@given(own=FIGURES, mean=FIGURES, spread=FIGURES)
def test_a_band_is_the_same_in_pounds_as_in_kilograms(own, mean, spread):
    pounds = [each / 0.45359237 for each in (own, mean, spread)]
    assert band_of(own, mean, spread) == band_of(*pounds)


@given(mean=st.floats(10, 100), spread=st.floats(0.1, 5), score=st.floats(0, 2))
def test_bands_mirror_at_the_mean(mean, spread, score):
    above, below = (band_of(mean + way * score * spread, mean, spread) for way in (1, -1))
    assert BANDS.index(above) + BANDS.index(below) == len(BANDS) - 1


@given(mean=FIGURES, spread=FIGURES, first=FIGURES, second=FIGURES)
def test_more_never_lies_in_a_lower_band(mean, spread, first, second):
    less, more = sorted((first, second))
    assert BANDS.index(band_of(less, mean, spread)) <= BANDS.index(band_of(more, mean, spread))


@pytest.mark.parametrize("told", [(-1, 1, 1), (1, -1, 1), (1, 1, 0), (1, 1, float("inf")), (float("nan"), 1, 1)])
def test_what_no_band_can_be_told_of_is_refused(told):
    with pytest.raises(OutOfRange):
        band_of(*told)
