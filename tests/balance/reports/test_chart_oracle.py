"""Our writer and Vega draw one specification alike; vl-convert is Vega-Lite 5 with Vega in one library."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
import vl_convert

from balance.reports.charts import svg_of
from tests.balance.reports.drawn import SVG, root_of, samples

SEEDS = range(6)
#: Ours writes tenths of a pixel, and Vega moves ticks and domains by half a pixel, marks never.
CLOSE = 0.11


def vega(spec):
    """Give the marks that Vega makes of a specification, layer by layer: kind, and items with their places [px]."""
    found = []

    def walk(node):
        if node.get("role") == "mark" and str(node.get("name", "")).startswith("layer_"):
            found.append((int(node["name"].split("_")[1]), node["marktype"], node["items"]))
        elif "items" in node:
            for item in node["items"]:
                walk(item)

    walk(vl_convert.vegalite_to_scenegraph(spec)["scenegraph"])
    return found


def ours(spec):
    """Give the elements of our drawing inside the plot, in the order of the layers."""
    (plot,) = [node for node in root_of(svg_of(spec)) if node.tag == f"{SVG}g"]
    return list(plot)


def number(node, *names):
    return [float(node.get(name)) for name in names]


def places(items, *names):
    return sorted([round(item.get(name, 0.0), 3) for name in names] for item in items)


def assert_close(mine, theirs):
    assert len(mine) == len(theirs)
    for one, other in zip(sorted(mine), sorted(theirs), strict=True):
        assert one == pytest.approx(other, abs=CLOSE)


CHARTS = [chart for seed in SEEDS for chart in samples(seed=seed)]


@pytest.mark.parametrize("chart", CHARTS, ids=[f"{chart.code}{at}" for at, chart in enumerate(CHARTS)])
def test_bars_and_bands_have_the_same_ends_as_in_vega(chart):
    theirs = [item for _, kind, items in vega(chart.spec) if kind == "rect" for item in items]
    mine = [node for node in ours(chart.spec) if node.tag == f"{SVG}rect"]
    assert theirs or chart.code in {"f", "g", "i"}
    assert_close(
        [number(node, "x", "y", "width", "height") for node in mine], places(theirs, "x", "y", "width", "height")
    )


@pytest.mark.parametrize("chart", CHARTS, ids=[f"{chart.code}{at}" for at, chart in enumerate(CHARTS)])
def test_points_lie_where_vega_puts_them_and_are_as_large(chart):
    theirs = [item for _, kind, items in vega(chart.spec) if kind == "symbol" for item in items]
    mine = [node for node in ours(chart.spec) if node.tag == f"{SVG}circle"]
    assert bool(theirs) == (chart.code in {"e", "f", "g"})
    assert_close([number(node, "cx", "cy") for node in mine], places(theirs, "x", "y"))
    assert {float(node.get("r")) * 2 for node in mine} == {item["size"] ** 0.5 for item in theirs}


@pytest.mark.parametrize("chart", CHARTS, ids=[f"{chart.code}{at}" for at, chart in enumerate(CHARTS)])
def test_words_in_the_plot_stand_where_vega_puts_them(chart):
    theirs = [(item["x"], item["text"]) for _, kind, items in vega(chart.spec) if kind == "text" for item in items]
    said = {text for _, text in theirs}
    mine = [
        (float(node.get("x")), node.text)
        for node in ours(chart.spec)
        if node.tag == f"{SVG}text" and node.text in said and node.get("fill") == "#1a1a1a"
    ]
    for x, text in theirs:
        shift = 6 if chart.code in {"h", "i"} and text.startswith(("n = ", "×")) else 0
        assert any(other == text and abs(at - x - shift) <= CLOSE for at, other in mine), (x, text, mine)


@pytest.mark.parametrize("chart", CHARTS, ids=[f"{chart.code}{at}" for at, chart in enumerate(CHARTS)])
def test_intervals_and_lines_lead_from_and_to_the_same_places_as_in_vega(chart):
    theirs = [
        sorted([(item["x"], item["y"]), (item.get("x2", item["x"]), item.get("y2", item["y"]))])
        for _, kind, items in vega(chart.spec)
        if kind == "rule"
        for item in items
    ]
    mine = [
        sorted([(float(node.get("x1")), float(node.get("y1"))), (float(node.get("x2")), float(node.get("y2")))])
        for node in ours(chart.spec)
        if node.tag == f"{SVG}line"
    ]
    for one in theirs:
        wanted = [end for point in one for end in point]
        assert any([end for point in line for end in point] == pytest.approx(wanted, abs=CLOSE) for line in mine), one
    runs = [items for _, kind, items in vega(chart.spec) if kind == "line" and len(items) > 1]
    drawn = [
        [tuple(map(float, point.split(","))) for point in node.get("points").split()]
        for node in ours(chart.spec)
        if node.tag == f"{SVG}polyline"
    ]
    assert len(runs) == len(drawn)
    for run, line in zip(runs, drawn, strict=True):
        assert [end for point in line for end in point] == pytest.approx(
            [end for item in run for end in (item["x"], item["y"])], abs=CLOSE
        )


@pytest.mark.parametrize("chart", samples(), ids=lambda chart: chart.code)
def test_vega_draws_the_same_specification(chart):
    svg = vl_convert.vegalite_to_svg(chart.spec)
    assert svg.startswith("<svg")
    assert "NaN" not in svg


def test_a_specification_keeps_to_the_schema_of_vega_lite_5():
    altair = pytest.importorskip("altair", reason="Vega-Lite's JSON Schema comes with altair 5, which is not here.")
    schema = Path(altair.__file__).parent / "vegalite" / "v5" / "schema" / "vega-lite-schema.json"
    if not schema.exists():
        pytest.skip("This altair has the schema of another Vega-Lite.")
    validator = jsonschema.Draft7Validator(json.loads(schema.read_text()))
    for chart in samples():
        validator.validate(chart.spec)
