"""The ordinary way to a PDF with charts: matplotlib draws, a page of HTML holds all, WeasyPrint sets it.

It says what ours says: the same summary, figures, table, sources, cautions and words, and three charts of the same
numbers with intervals, range, n and units.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Iterable
from html import escape
from typing import Any

from tests.bench.reports_ground import PARTS, Season, document_of

_STYLE = (
    "@page{size:A4;margin:2cm;@bottom-right{content:'Page ' counter(page) ' of ' counter(pages)}}"
    "body{font:10.5pt sans-serif}table{border-collapse:collapse;width:100%;font-size:9.5pt}"
    "td,th{border-bottom:.4pt solid #bbb;padding:3pt;text-align:left;vertical-align:top}img{width:88%}"
    "section.block,section.rests{break-before:page}"
)


def make(season: Season) -> bytes:
    """Make one report."""
    from weasyprint import HTML

    made: bytes = HTML(string=page_of(season)).write_pdf()
    return made


def page_of(season: Season) -> str:
    """Write the page."""
    from balance.reports.forms.glossary import GLOSSARY
    from balance.reports.words import cell, headed, interval_of, range_of, value_of

    said = document_of(season, with_charts=False)
    (line,), (block,) = said["summary"], said["blocks"]
    (section,) = block["sections"]
    figures = [
        [one["title"], value_of(one), str(one["n"]), interval_of(one), f"{range_of(one)} {one['verdict']}"]
        for one in section["figures"]
    ]
    (table,) = section["tables"]
    rows = [[cell(value, column) for value, column in zip(row, table["columns"], strict=True)] for row in table["rows"]]
    lines = [line["name"], f"{line['why']} {' '.join(line['changed'])}", " ".join(line["next_winter"])]
    pictures = "".join(f'<img src="data:image/svg+xml;base64,{picture}">' for picture in charts_of(season))
    sources = [[one["used_for"], one["label"], one["source"], one["mark"]] for one in said["sources"]]
    return (
        f"<html><head><title>{escape(said['farm_name'])}</title><style>{_STYLE}</style></head><body>"
        f"<h1>{escape(said['farm_name'])}</h1><p>Season report 2026, {escape(said['region'])}</p>"
        f"{_table(['Block', 'Why', 'Next winter', 'Confidence'], [[*lines, line['confidence']]])}"
        f"<p>{escape(said['cautions'][0])}</p><section class=block><h1>{escape(block['name'])}</h1>"
        f"<h2>{escape(section['title'])}</h2><p>{escape(section['sentences'][0])}</p>"
        f"{_table(['Figure', 'Value', 'n', 'Interval', 'Range and verdict'], figures)}{pictures}"
        f"<h3>{escape(table['title'])}</h3>{_table([headed(column) for column in table['columns']], rows)}</section>"
        f"<section class=rests><h1>What this report rests on</h1>{_table(['For', 'What', 'Source', 'Mark'], sources)}"
        f"{_table(['Word', 'What it means here'], GLOSSARY)}<p>{said['check_code']}</p></section></body></html>"
    )


def _table(heads: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    head = "".join(f"<th>{escape(one)}</th>" for one in heads)
    body = "".join("<tr>" + "".join(f"<td>{escape(one)}</td>" for one in row) + "</tr>" for row in rows)
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def charts_of(season: Season) -> Iterable[str]:
    """Draw the three charts, each a new figure, as SVG in base64."""
    import matplotlib as mpl

    mpl.use("svg")
    yield from map(_drawn, (_weights, _loads, _counts), [season] * 3)


def _drawn(draw: Any, season: Season) -> str:
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(figsize=(6.5, 2.8))
    draw(axes, season)
    figure.tight_layout()
    out = io.BytesIO()
    figure.savefig(out, format="svg")
    pyplot.close(figure)
    return base64.b64encode(out.getvalue()).decode()


def _weights(axes: Any, season: Season) -> None:
    counts, edges, _ = axes.hist(season.weights, bins=12, color="#56b4e9", edgecolor="#1a1a1a")
    for count, left, right in zip(counts, edges, edges[1:], strict=False):
        axes.text((left + right) / 2, count, f"{count:.0f}", ha="center", va="bottom")
    axes.axvline(season.mean, color="#d55e00", linestyle="--")
    axes.set(xlabel="Weight of a vine (kg)", ylabel="Vines", title=f"Pruning weights, n = {len(season.weights)} vines")


def _loads(axes: Any, season: Season) -> None:
    known = [(year, load, load - low, high - load, n) for year, load, low, high, n in season.loads if load is not None]
    years, loads, below, above, numbers = zip(*known, strict=True)
    axes.axhspan(5, 10, color="#009e73", alpha=0.16)
    axes.errorbar(years, loads, yerr=(below, above), fmt="o-", color="#0072b2")
    for year, load, n in zip(years, loads, numbers, strict=True):
        axes.annotate(str(n), (year, load), textcoords="offset points", xytext=(6, 4))
    axes.set(xlabel="Season (harvest year)", ylabel="Crop load", title="Crop load, assigned range 5 to 10")


def _counts(axes: Any, season: Season) -> None:
    names = [name for name, _ in season.counts]
    begins = [0] * len(names)
    for at, part in enumerate(PARTS):
        wide = [told[at] for _, told in season.counts]
        bars = axes.barh(names, wide, left=begins, label=part, edgecolor="#1a1a1a")
        axes.bar_label(bars, label_type="center")
        begins = [one + more for one, more in zip(begins, wide, strict=True)]
    axes.set(xlabel="Vines", title="Counts against targets")
    axes.legend(fontsize=8)
