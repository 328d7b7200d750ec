"""How a whole falls into parts: one bar a row, its parts side by side, such as counts against targets."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

from balance.reports.charts.axes import plot_width
from balance.reports.charts.lettering import cut, plain, width_of
from balance.reports.charts.palette import INK, PARTS
from balance.reports.charts.pieces import (
    LABEL_SIZE,
    at,
    layer,
    ordinal,
    quantitative,
    specification,
    words_mark,
)
from balance.reports.charts.scales import ticks_that_fit
from balance.reports.document import Chart

_ROW: Final = 26
_MOST_ROWS: Final = 40
#: Right of the longest bar: room for its sum.
_SUM: Final = 70
LETTERS: Final = "ABCDE"


@dataclass(frozen=True)
class ShareRow:
    """One bar: its name and the count of each part in their order, or None and the reason where nobody counted."""

    name: str
    counts: tuple[int, ...] | None
    reason: str = ""


def shares(
    code: str, title: str, parts: Sequence[str], rows: Sequence[ShareRow], *, counted: str = "vines"
) -> Chart:  # fmt: skip
    """Build a chart of parts of counts.

    Each part has a letter, which stands in the legend and in the bar, so that colour says nothing alone.

    Raises
    ------
    ValueError
        More than five parts, none, or a row with another number of counts.
    """
    if not 1 <= len(parts) <= len(LETTERS):
        raise ValueError(f"A chart of shares has 1 to {len(LETTERS)} parts, not {len(parts)}.")
    if any(row.counts is not None and len(row.counts) != len(parts) for row in rows):
        raise ValueError("Every row needs one count for each part.")
    shown = rows[:_MOST_ROWS]
    series = [f"{letter}: {plain(part, 80)}" for letter, part in zip(LETTERS, parts, strict=False)]
    below = list(_below(rows, shown, series, counted))
    described = " ".join(["Stacked bars.", *below, *(_told(row, parts) for row in shown)])
    names = _apart([plain(row.name, 400) for row in shown]) or [""]
    totals = [sum(row.counts) for row in shown if row.counts is not None]
    most = max(totals, default=1) or 1
    up = ordinal(None, names, inner=0.25)
    plot = plot_width(up)
    ticks = ticks_that_fit(0, most * plot / (plot - _SUM), 6, plot, LABEL_SIZE, whole=True)
    across = quantitative(counted.capitalize(), ticks, grid=True, along=plot - 2 * LABEL_SIZE)
    drawn = list(_segments(shown, names, series, plot / across["scale"]["domain"][1]))
    colour = {
        "field": "part",
        "type": "nominal",
        "title": None,
        "scale": {"domain": series, "range": list(PARTS[: len(series)])},
        "legend": {"orient": "bottom", "columns": 1, "symbolType": "square"},
    }
    layers = [
        layer(
            drawn, {"type": "bar", "stroke": INK, "strokeWidth": 0.8},
            y=at(up, "row"), x=at(across, "from"), x2={"field": "to"}, color=colour,
        ),
        layer(
            [one for one in drawn if one["label"]], words_mark(align="center", baseline="middle"),
            y=at(up, "row"), x=at(across, "middle"), text={"field": "label"},
        ),
        layer(
            list(_sums(shown, names, counted)), words_mark(align="left", baseline="middle", dx=6),
            y=at(up, "row"), x=at(across, "to"), text={"field": "label"},
        ),
    ]  # fmt: skip
    size = (plot, max(1, len(shown)) * _ROW)
    return Chart(code, title, described, specification(title, below, described, size, layers))


def _below(rows: Sequence[ShareRow], shown: Sequence[ShareRow], series: Sequence[str], counted: str) -> Iterator[str]:
    known = [sum(row.counts) for row in shown if row.counts is not None]
    yield (
        f"n = {sum(known):,} {counted} in {len(known)} {'bar' if len(known) == 1 else 'bars'}."
        if known
        else ("Nobody counted: not counted is not zero.")
    )
    if len(rows) > len(shown):
        yield f"The first {len(shown)} of {len(rows)} bars are shown."
    if len(series) > 1 and known:
        yield "Parts stand in the order of their letters; letter and count stand in a part where there is room."


def _told(row: ShareRow, parts: Sequence[str]) -> str:
    if row.counts is None:
        return f"{row.name}: {row.reason or 'not counted'}."
    return f"{row.name}: " + ", ".join(f"{part} {count}" for part, count in zip(parts, row.counts, strict=True)) + "."


def _apart(names: Sequence[str]) -> list[str]:
    """Give every name once: rows of one name would lie upon each other."""
    seen: dict[str, int] = {}
    apart = []
    for name in names:
        seen[name] = seen.get(name, 0) + 1
        apart.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return apart


def _segments(
    shown: Sequence[ShareRow], names: Sequence[str], series: Sequence[str], scale: float
) -> Iterator[dict[str, Any]]:
    for row, name in zip(shown, names, strict=False):
        begins = 0
        for letter, part, count in zip(LETTERS, series, row.counts or (), strict=False):
            if not count:
                continue
            said = next(
                (said for said in (f"{letter} {count:,}", letter) if width_of(said, LABEL_SIZE) <= count * scale), ""
            )
            yield {
                "row": name, "part": part, "from": begins, "to": begins + count, "middle": begins + count / 2,
                "label": said,
            }  # fmt: skip
            begins += count


def _sums(shown: Sequence[ShareRow], names: Sequence[str], counted: str) -> Iterator[dict[str, Any]]:
    for row, name in zip(shown, names, strict=False):
        if row.counts is None:
            yield {"row": name, "to": 0, "label": cut(f"× {row.reason or f'{counted} not counted'}", 260, LABEL_SIZE)}
        else:
            yield {"row": name, "to": sum(row.counts), "label": f"n = {sum(row.counts):,}"}
