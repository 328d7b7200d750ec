"""Units: exact both ways, refused where they are unknown, ambiguous or of another dimension."""

from __future__ import annotations

from decimal import Decimal

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from records.units import (
    CANONICAL,
    UNITS,
    AmbiguousUnit,
    Quantity,
    TooPrecise,
    UnknownUnit,
    WrongDimension,
    canonical_code,
    from_canonical,
    to_canonical,
)

#: Our UCUM codes as pint writes them; pint with Decimals is exact.
PINT = {
    "kg": "kilogram", "g": "gram", "mg": "milligram", "t": "metric_ton", "[lb_av]": "pound", "[oz_av]": "ounce", "[ston_av]": "short_ton",
    "[lton_av]": "long_ton", "m": "meter", "cm": "centimeter", "mm": "millimeter", "[in_i]": "inch", "[ft_i]": "foot",
    "m2": "meter**2", "har": "hectare", "[sft_i]": "foot**2", "4840.[syd_i]": "yard**2", "{Brix}": "dimensionless",
    "g/(100.g)": "dimensionless", "g/L": "gram/liter", "g/dL": "gram/deciliter",
}  # fmt: skip
TIMES = {"4840.[syd_i]": 4840}
IN_PINT = {"kg": "kilogram", "m": "meter", "m2": "meter**2", "{Brix}": "dimensionless", "g/L": "gram/liter"}


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry[Decimal]:
    return pint.UnitRegistry(non_int_type=Decimal)


@pytest.mark.parametrize("code", UNITS)
def test_every_factor_is_pints(code, registry):
    unit = UNITS[code]
    theirs = registry.Quantity(Decimal(TIMES.get(code, 1)), PINT[code]).to(IN_PINT[CANONICAL[unit.dimension]]).magnitude
    assert theirs == pytest.approx(unit.factor, rel=Decimal("1e-20"))


@pytest.mark.parametrize(
    "code",
    ["kg", "g", "t", "[lb_av]", "[oz_av]", "m", "cm", "mm", "[in_i]", "[ft_i]", "m2", "har", "[sft_i]", "4840.[syd_i]"],
)
def test_every_code_means_in_ucum_what_we_take_it_for(code):
    """ucumvert reads UCUM's own table; [ston_av] and [lton_av] are left to pint."""
    from ucumvert import PintUcumRegistry

    ucum = PintUcumRegistry()
    theirs = ucum.from_ucum(code).to(IN_PINT[CANONICAL[UNITS[code].dimension]]).magnitude
    assert float(theirs) == pytest.approx(float(UNITS[code].factor), rel=1e-12)


measured = st.decimals(min_value=0, max_value=10_000, places=4)


@given(value=measured, code=st.sampled_from([code for code, unit in UNITS.items() if unit.dimension == "mass"]))
def test_a_mass_converted_and_back_is_the_mass_as_sent(value, code):
    assert from_canonical(to_canonical(Quantity(value, code), "mass"), code) == pytest.approx(
        value, rel=Decimal("1e-25")
    )


@given(a=measured, b=measured)
def test_converting_a_sum_is_summing_what_was_converted(a, b):
    each = [to_canonical(Quantity(value, "[lb_av]"), "mass") for value in (a, b, a + b)]
    assert each[0] + each[1] == each[2]


def test_the_pound_is_exact():
    assert to_canonical(Quantity(Decimal("2.8"), "[lb_av]"), "mass") == Decimal("1.270058636")


@pytest.mark.parametrize(
    ("word", "code"),
    [("lb", "[lb_av]"), ("lbs", "[lb_av]"), ("oz", "[oz_av]"), ("ft", "[ft_i]"), (" kg ", "kg"), ("tonne", "t")],
)
def test_words_that_can_mean_one_unit_only_are_understood(word, code):
    assert canonical_code(word) == code


@pytest.mark.parametrize("word", ["ton", "Tons"])
def test_ton_is_refused_with_the_choices(word):
    with pytest.raises(AmbiguousUnit, match=r"t \(metric ton\), \[ston_av\] \(short ton\), \[lton_av\]"):
        canonical_code(word)


@pytest.mark.parametrize(("word", "hint"), [("lbs.", "[lb_av]"), ("KG", "kg"), ("kgs", "kg"), ("pund", "[lb_av]")])
def test_an_unknown_unit_is_refused_with_the_nearest(word, hint):
    with pytest.raises(UnknownUnit) as refusal:
        canonical_code(word)
    assert f"Did you mean '{hint}'" in str(refusal.value)


@pytest.mark.parametrize("word", ["dunam", "sq ft", "bushel", ""])
def test_a_word_that_is_near_to_nothing_gets_no_guess(word):
    """A wrong guess is worse than none: a dunam is no hectare."""
    with pytest.raises(UnknownUnit) as refusal:
        canonical_code(word)
    assert "Did you mean" not in str(refusal.value)


def test_a_unit_of_another_dimension_is_refused_with_the_right_ones():
    with pytest.raises(WrongDimension, match=r"measures length, not mass. Use one of: kg, g, mg, t, \[lb_av\]"):
        to_canonical(Quantity(Decimal(1), "m"), "mass")


@pytest.mark.parametrize(
    "value", ["1234567890123456", "0.0000000000001", "1e20", f"1.{'0' * 35}1", "NaN", "sNaN", "Infinity"]
)
def test_more_digits_than_a_scale_shows_are_refused(value):
    with pytest.raises(TooPrecise):
        to_canonical(Quantity(Decimal(value), "kg"), "mass")


@pytest.mark.parametrize("value", [f"1.{'0' * 40}", "0", "0.000", "999999999999999"])
def test_zeros_at_the_end_are_no_digits_too_many(value):
    assert to_canonical(Quantity(Decimal(value), "kg"), "mass") == Decimal(value)
