"""The numbers that a chart draws, as a table for whoever cannot see it or wants to read them off."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from balance.reports.words import NOT_MEASURED, number

Plain = dict[str, Any]
#: A value of a chart has no digits of its own; more than these are read off by nobody.
_SIGNIFICANT: Final = 4


@dataclass(frozen=True)
class ChartData:
    """What a chart draws: headings, lines of words and written numbers, and how many columns of words come first."""

    headings: tuple[str, ...]
    lines: tuple[tuple[str, ...], ...]
    words: int = 0


def chart_data(spec: Plain) -> ChartData:
    """Give the numbers of a specification of the subset that the service draws; none where it draws none."""
    for layer in spec["layer"]:
        encoding = layer["encoding"]
        if _mark(layer) == "bar" and "color" in encoding:
            return _parts(layer)
        if _mark(layer) == "bar":
            return _bars(layer)
        if encoding.get("x", {}).get("type") == "ordinal":
            return _seasons(spec)
    return ChartData((), ())


def _mark(layer: Plain) -> str:
    mark = layer["mark"]
    return str(mark if isinstance(mark, str) else mark["type"])


def _bars(layer: Plain) -> ChartData:
    across, up = _title(layer["encoding"]["x"]), _title(layer["encoding"]["y"])
    lines = [(_written(row["from"]), _written(row["to"]), _written(row["n"])) for row in layer["data"]["values"]]
    return ChartData((f"From: {across}", "To", str(up)), tuple(lines))


def _parts(layer: Plain) -> ChartData:
    counted = _title(layer["encoding"]["x"])
    lines = [(row["row"], row["part"], _written(row["to"] - row["from"])) for row in layer["data"]["values"]]
    return ChartData(("Bar", "Part", counted), tuple(lines), words=2)


def _title(channel: Plain) -> str:
    """Give the title of an axis, which may be broken into lines."""
    said = channel["title"]
    return said if isinstance(said, str) else " ".join(said)


def _seasons(spec: Plain) -> ChartData:
    """Give a line a season, also those of which nothing is known."""
    rows: dict[str, Plain] = {}
    for row in _rows_of_seasons(spec):
        rows.setdefault(row["season"], {}).update(row)
    titles = [_title(layer["encoding"]["y"]) for layer in spec["layer"] if "title" in layer["encoding"].get("y", {})]
    names = {"value": str(titles[0]) if titles else "Value", "low": "Lower end", "high": "Upper end", "count": "n"}
    shown = {
        name: title for name, title in names.items() if name == "value" or any(name in row for row in rows.values())
    }
    lines = [(season, *(_written(row.get(name)) for name in shown)) for season, row in sorted(rows.items())]
    return ChartData(("Season", *shown.values()), tuple(lines), words=1)


def _rows_of_seasons(spec: Plain) -> Iterator[Plain]:
    for layer in spec["layer"]:
        yield from (row for row in layer["data"]["values"] if "season" in row)


def _written(value: str | float | None) -> str:
    if value is None:
        return NOT_MEASURED
    if isinstance(value, str):
        return value
    digits = next((digits for digits in range(_SIGNIFICANT) if abs(round(value, digits) - value) < 1e-9), None)
    return number(value, digits) if digits is not None else number(value, _decimals(value))


def _decimals(value: float) -> int:
    whole = len(str(int(abs(value)))) if abs(value) >= 1 else 0
    return max(0, _SIGNIFICANT - whole)
