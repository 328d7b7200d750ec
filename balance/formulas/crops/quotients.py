"""One measured thing divided by another, element by element: what is missing or zero gives a reason and no number."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from balance.formulas.errors import OutOfRange

OK: Final = "ok"
OVER_MISSING: Final = "over_missing"
UNDER_MISSING: Final = "under_missing"
BOTH_MISSING: Final = "both_missing"
UNDER_ZERO: Final = "under_zero"
BEYOND: Final = "beyond_any_vine"
STATUSES: Final = (OK, OVER_MISSING, UNDER_MISSING, BOTH_MISSING, UNDER_ZERO, BEYOND)

#: More than any block brings or measures, in kilograms, metres, square metres or shoots.
MOST: Final = 1e9
#: Below a billionth of itself a measured figure means nothing; rounding there makes pounds and kilograms agree.
_DIGITS: Final = 9


@dataclass(frozen=True)
class Ratio:
    """A quotient that the trade has a name for.

    Attributes
    ----------
    name, unit : str
        What it is called, and the UCUM code of its unit; ``1`` for a number without one.
    over, under : str
        What is divided, and what it is divided by, in words that a sentence may begin with.
    factor : float
        From the unit of the quotient of canonical values to ``unit``, e.g. 1000 from kilograms to grams.
    most : float
        More than any vine has [unit]: such a quotient comes of a wrong unit (bounds of this service; common practice,
        no source).
    """

    name: str
    unit: str
    over: str
    under: str
    most: float
    factor: float = 1.0


@dataclass(frozen=True)
class Quotients:
    """Quotients of many vines, in the order of what was divided.

    Attributes
    ----------
    values : ndarray of float
        In the unit of the ratio, to nine significant digits; NaN where there is no number.
    status : ndarray of str
        One of ``STATUSES``.
    """

    values: NDArray[np.float64]
    status: NDArray[np.str_]


@dataclass(frozen=True)
class Quotient:
    """One quotient; None where ``reason`` says why there is no number."""

    value: float | None
    status: str
    reason: str | None


def divide(over: ArrayLike, under: ArrayLike, ratio: Ratio) -> Quotients:
    """Divide one measured thing by another, element by element.

    Parameters
    ----------
    over, under : array_like of float, shape (n,)
        In canonical units (kg, m, m2, 1), 0 to 10⁹; NaN where it was not measured.
    ratio : Ratio

    Returns
    -------
    Quotients
        Missing, zero and not measured are three things: zero over something is zero, something over zero is no number.

    Raises
    ------
    OutOfRange
        A value is negative, infinite or above 10⁹.

    Examples
    --------
    >>> ratio = Ratio("crop load", "1", "The yield", "The prunings", most=1000)
    >>> quotients = divide([9.8, 0.0, 9.8, float("nan")], [1.3, 1.3, 0.0, 1.3], ratio)
    >>> quotients.values.round(2).tolist(), quotients.status.tolist()
    ([7.54, 0.0, nan, nan], ['ok', 'ok', 'under_zero', 'over_missing'])
    """
    upper, lower = (np.asarray(side, dtype=np.float64) for side in (over, under))
    _refuse_impossible(upper, ratio.over)
    _refuse_impossible(lower, ratio.under)
    no_upper, no_lower = np.isnan(upper), np.isnan(lower)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        values = upper / lower * ratio.factor
    beyond = values > ratio.most
    status = np.select(
        [no_upper & no_lower, no_upper, no_lower, lower == 0, beyond],
        [BOTH_MISSING, OVER_MISSING, UNDER_MISSING, UNDER_ZERO, BEYOND],
        default=OK,
    )
    return Quotients(significant(np.where(status == OK, values, np.nan)), status)


def quotient(over: float | None, under: float | None, ratio: Ratio) -> Quotient:
    """Divide one value by another; see :func:`divide`, which does the work.

    Examples
    --------
    >>> ratio = Ratio("crop load", "1", "The yield", "The prunings", most=1000)
    >>> quotient(11.8, 0.0, ratio).reason
    'The prunings are zero, and nothing can be divided by zero: there is no crop load.'
    """
    upper, lower = ([math.nan if side is None else float(side)] for side in (over, under))
    divided = divide(upper, lower, ratio)
    status = str(divided.status[0])
    value = float(divided.values[0])
    return Quotient(None if math.isnan(value) else value, status, reason_of(status, ratio))


def reason_of(status: str, ratio: Ratio) -> str | None:
    """Say why there is no number; None where there is one.

    Examples
    --------
    >>> reason_of("over_missing", Ratio("crop load", "1", "The yield", "The prunings", most=1000))
    'The yield was not measured: there is no crop load.'
    """
    reasons = {
        OVER_MISSING: f"{ratio.over} was not measured: there is no {ratio.name}.",
        UNDER_MISSING: f"{ratio.under} was not measured: there is no {ratio.name}.",
        BOTH_MISSING: f"Neither side was measured: there is no {ratio.name}.",
        UNDER_ZERO: f"{ratio.under} is zero, and nothing can be divided by zero: there is no {ratio.name}.",
        BEYOND: f"More than {ratio.most:g} comes out, which no vine has. Check both values and their units.",
    }
    reason = reasons.get(status)
    plural = ratio.over if status == OVER_MISSING else ratio.under
    if reason is not None and plural.endswith("s"):
        return reason.replace("was not", "were not").replace("is zero", "are zero")
    return reason


def significant(values: ArrayLike) -> NDArray[np.float64]:
    """Round to nine significant digits, element by element; NaN stays.

    Examples
    --------
    >>> significant([9.999999999999998, 1 / 3, 0.0]).tolist()
    [10.0, 0.333333333, 0.0]
    """
    array = np.asarray(values, dtype=np.float64)
    rounded = [float(f"{each:.{_DIGITS}g}") for each in array.ravel()]
    return np.array(rounded, dtype=np.float64).reshape(array.shape)


def _refuse_impossible(values: NDArray[np.float64], name: str) -> None:
    wrong = values[(values < 0) | (values > MOST)]
    if wrong.size:
        raise OutOfRange(name.lower(), float(wrong[0]), 0, MOST)
