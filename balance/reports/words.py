"""How numbers and codes of a report are written for a person, in every form alike.

A number has as many decimals as its figure says, the true minus sign, and groups of three from ten thousand on, so
that a year stays a year.
"""

from __future__ import annotations

from typing import Any, Final

from balance.reports.document import FAIR, GOOD, IN_BALANCE, LOW, NOT_KNOWN, OVER, UNDER
from balance.reports.models import UnitSystem

MINUS: Final = "\u2212"
TO: Final = " to "
#: From here on thousands are set apart.
_GROUPED: Final = 10_000
#: What stands for a cell that was not measured; zero is another thing.
NOT_MEASURED: Final = "\u2013"
#: Units that are things one counts.
COUNTED: Final = frozenset(
    {
        "vines", "count nodes", "clusters", "cordons", "cases", "versions", "harvests", "pickings", "winters", "facts",
        "records",
    }
)  # fmt: skip
STANDING_WORDS: Final = {OVER: "Over", UNDER: "Under", IN_BALANCE: "In balance", NOT_KNOWN: "Not known"}
CONFIDENCE_WORDS: Final = {GOOD: "good", FAIR: "fair", LOW: "low"}
VERDICT_WORDS: Final = {"below": "Below the range", "within": "Within the range", "above": "Above the range"}
UNIT_WORDS: Final = {
    UnitSystem.METRIC: "Metric units: kilograms, metres, hectares",
    UnitSystem.US: "US units: pounds, feet, acres, short tons",
}


def number(value: float, digits: int = 0) -> str:
    """Write a number.

    Examples
    --------
    >>> [number(2026), number(12345.678, 1), number(-0.004, 2), number(-1.5, 2)]
    ['2026', '12,345.7', '0.00', '−1.50']
    """
    written = f"{abs(value):{',' if abs(value) >= _GROUPED else ''}.{digits}f}"
    return f"{MINUS}{written}" if value < 0 and float(written.replace(",", "")) else written


def cell(value: str | float | None, column: dict[str, Any]) -> str:
    """Write a cell of a table.

    Examples
    --------
    >>> [cell(None, {}), cell("row 3", {"number": False}), cell(0, {"number": True, "digits": 1})]
    ['–', 'row 3', '0.0']
    """
    if value is None:
        return NOT_MEASURED
    if isinstance(value, str):
        return value
    return number(value, column["digits"] if column["number"] else _needed(value))


def _needed(value: float) -> int:
    """Give the decimals of a number for which nobody said how many: none of a whole one."""
    return 0 if float(value).is_integer() else 2


def with_unit(written: str, unit: str) -> str:
    r"""Put the unit behind a number; one of what is counted has no plural.

    Examples
    --------
    >>> [with_unit("0.85", "kg"), with_unit("12", "%"), with_unit("3", "")]
    ['0.85\xa0kg', '12\xa0%', '3']
    >>> [with_unit("1", "vines"), with_unit("0", "vines"), with_unit("1.0", "count nodes")]
    ['1\xa0vine', '0\xa0vines', '1.0\xa0count nodes']
    """
    said = unit.removesuffix("s") if written == "1" and unit in COUNTED else unit
    return f"{written}\u00a0{said}" if said else written


def headed(column: dict[str, Any]) -> str:
    """Write the heading of a column with its unit.

    Examples
    --------
    >>> headed({"title": "Weight", "unit": "kg"})
    'Weight [kg]'
    """
    return f"{column['title']} [{column['unit']}]" if column["unit"] else str(column["title"])


def value_of(figure: dict[str, Any]) -> str:
    """Write the value of a figure with its unit; nothing where there is none."""
    value = figure["value"]
    return "" if value is None else with_unit(number(value, figure["digits"]), figure["unit"])


def interval_of(figure: dict[str, Any]) -> str:
    r"""Write what kind of interval it is and its ends; nothing where none was computed.

    Examples
    --------
    >>> interval_of({"interval": "95 % interval", "low": 0.5, "high": 1, "unit": "kg", "digits": 1})
    '95 % interval: 0.5 to 1.0\xa0kg'
    """
    ends = _ends(figure, figure["low"], figure["high"])
    return ": ".join(part for part in (figure["interval"], ends) if part) if ends else ""


def range_of(figure: dict[str, Any]) -> str:
    """Write the ends of the range that the figure is held against; nothing where nobody assigned one."""
    return _ends(figure, figure["range_low"], figure["range_high"])


def _ends(figure: dict[str, Any], low: float | None, high: float | None) -> str:
    digits, unit = figure["digits"], figure["unit"]
    if low is None and high is None:
        return ""
    if low is None or high is None:
        one, word = (high, "up to") if low is None else (low, "from")
        return with_unit(f"{word} {number(one or 0, digits)}", unit)
    return with_unit(f"{number(low, digits)}{TO}{number(high, digits)}", unit)


def moment_of(taken_at: str) -> str:
    """Write a moment of RFC 3339 as people do.

    Examples
    --------
    >>> moment_of("2027-01-16T15:02:00+00:00")
    '2027-01-16 15:02 UTC'
    """
    return f"{taken_at[:10]} {taken_at[11:16]} UTC"
