"""A chart shows what was measured, says what was not, and is read without its colours."""

from __future__ import annotations

import copy
import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balance.reports.charts import (
    Assigned,
    Centre,
    NotInSubset,
    SeasonPoint,
    ShareRow,
    histogram,
    over_seasons,
    palette,
    shares,
    svg_of,
)
from balance.reports.charts.lettering import width_of
from balance.reports.charts.pieces import LABEL_SIZE, LEAST_PLOT
from tests.balance.reports.drawn import LOAD, LONG, PARTS, SVG, WEIGHT, root_of, samples, texts

HOSTILE = [
    "<script>alert(1)</script>",
    '" onload="alert(1)',
    "]]>&nbsp;&#x0;",
    "\u202etxet \u05e9\u05dc\u05d5\u05dd",
    "W" * 1_000_000,
    "\x00\ud800\ufffe\nline",
    "{{7*7}} #eval($x$)",
]


def marks(chart, kind):
    return [layer for layer in chart.spec["layer"] if layer["mark"]["type"] == kind]


def rows(chart, kind):
    return [row for layer in marks(chart, kind) for row in layer["data"]["values"]]


@given(st.lists(st.one_of(st.none(), st.floats(-1e6, 1e6)), max_size=80))
@settings(max_examples=200)
def test_every_value_stands_in_one_bar_and_what_was_not_measured_in_none(values):
    chart = histogram("a", "Weights", values, of=WEIGHT)
    measured = [value for value in values if value is not None]
    bars = rows(chart, "bar")
    assert sum(bar["n"] for bar in bars) == len(measured)
    for bar, after in itertools.pairwise(bars):
        assert bar["to"] == pytest.approx(after["from"])
    assert f"n = {len(measured)} vines" in chart.description
    if len(measured) < len(values):
        assert f"{len(values) - len(measured)} not measured" in chart.description
    svg_of(chart.spec)


@given(st.lists(st.floats(0, 50), min_size=1, max_size=60))
@settings(max_examples=100)
def test_a_bar_counts_the_values_between_its_ends(values):
    bars = rows(histogram("a", "Weights", values, of=WEIGHT), "bar")
    for bar in bars:
        guard = 1e-6 * (bar["to"] - bar["from"])
        inside = sum(bar["from"] + guard < value < bar["to"] - guard for value in values)
        near = sum(bar["from"] - guard <= value <= bar["to"] + guard for value in values)
        assert inside <= bar["n"] <= near


def test_where_nothing_was_measured_there_is_neither_a_bar_nor_a_number_on_an_axis():
    chart = histogram("a", "Weights", [None, None], of=WEIGHT)
    assert rows(chart, "bar") == []
    assert {text.said for text in texts(svg_of(chart.spec))} == {
        "Weights", "n = 0 vines; 2 not measured.", "Vines", "Pruning weight of a vine (lb)", "Nothing measured",
    }  # fmt: skip
    assert "Nothing was measured" in chart.description


def test_a_season_without_a_value_is_a_marked_gap_and_no_line_leads_through_it():
    points = [SeasonPoint(2022, 5.0, 10), SeasonPoint(2023, None, reason="no weights"), SeasonPoint(2024, 6.0, 9)]
    chart = over_seasons("a", "Load", points, of=LOAD)
    assert [row["season"] for row in rows(chart, "point")] == ["2022", "2024"]
    runs = {row["season"]: row["run"] for row in rows(chart, "line")}
    assert runs["2022"] != runs["2024"]
    assert {"season": "2023", "label": "×"} in rows(chart, "text")
    assert root_of(svg_of(chart.spec)).findall(f".//{SVG}polyline") == []
    assert "2023: no weights." in chart.description


def test_a_season_that_nobody_names_between_two_others_is_a_gap_too():
    chart = over_seasons("a", "Load", [SeasonPoint(2020, 5.0), SeasonPoint(2023, 6.0)], of=LOAD)
    assert [row["season"] for row in rows(chart, "text") if row.get("label") == "×"] == ["2021", "2022"]


def test_zero_is_a_point_and_no_gap():
    chart = over_seasons("a", "Load", [SeasonPoint(2025, 0.0, 4), SeasonPoint(2026, 2.0, 4)], of=LOAD)
    assert [row["value"] for row in rows(chart, "point")] == [0.0, 2.0]
    assert "×" not in [row.get("label") for row in rows(chart, "text")]


def test_a_value_that_is_no_number_is_a_gap():
    chart = over_seasons("a", "Load", [SeasonPoint(2025, float("nan"), 4), SeasonPoint(2026, 2.0, 4)], of=LOAD)
    assert [row["season"] for row in rows(chart, "point")] == ["2026"]


def test_where_no_season_has_a_value_the_axis_has_no_numbers():
    chart = over_seasons("a", "Load", [SeasonPoint(2025, None), SeasonPoint(2026, None)], of=LOAD)
    assert not [
        text for text in texts(svg_of(chart.spec)) if text.said.replace(".", "").isdigit() and len(text.said) < 4
    ]
    assert "No season has a value" in chart.description


def test_uncertainty_n_unit_and_range_are_drawn_and_said():
    point = SeasonPoint(2026, 6.0, 24, 5.2, 6.9)
    chart = over_seasons("a", "Load", [point], of=LOAD, assigned=Assigned(5, 10, "a bulletin", 0))
    assert {"season": "2026", "value": 6.0, "run": 0, "low": 5.2, "high": 6.9, "count": "24"} in rows(chart, "rule")
    assert {"low": 5, "high": 10} in rows(chart, "rect")
    assert "2026: 6.0 kg/kg (5.2 to 6.9), n = 24." in chart.description
    assert "assigned range 5 to 10 kg/kg (a bulletin)" in chart.description
    said = [text.said for text in texts(svg_of(chart.spec))]
    assert "Crop load (kg/kg)" in said
    assert "24" in said


def test_the_interval_of_the_mean_stands_in_the_histogram():
    centre = Centre("mean", 1.5, 1.25, 1.75, "95 % interval of the mean")
    chart = histogram("a", "Weights", [1.0, 2.0], of=WEIGHT, centre=centre)
    assert {"low": 1.25, "high": 1.75} in rows(chart, "rule")
    assert "mean 1.50 lb; thick bar at the top: 95 % interval of the mean 1.25 to 1.75 lb." in chart.description


@pytest.mark.parametrize("mean", [2.2, 2.25, 2.3])
def test_the_line_of_the_mean_crosses_no_count_over_a_wide_bar(mean):
    values = [1.2, 1.6, 1.7, 1.8, 2.1, 2.3, 2.4, 2.6, 2.7, 3.1, 3.2, 3.4]
    chart = histogram("a", "Weights", values, of=WEIGHT, centre=Centre("mean", mean, 1.9, 2.6, "95 % interval"))
    crossed = next(bar for bar in rows(chart, "bar") if bar["from"] <= mean < bar["to"])
    count = next(row["middle"] for row in rows(chart, "text") if crossed["from"] < row["middle"] < crossed["to"])
    a_pixel = (rows(chart, "bar")[-1]["to"] - rows(chart, "bar")[0]["from"]) / LEAST_PLOT
    assert abs(count - mean) >= a_pixel * width_of("3", LABEL_SIZE) / 2


def test_parts_have_letters_so_that_colour_says_nothing_alone():
    chart = shares("a", "Counts", PARTS, [ShareRow("2026", (17, 5, 40))])
    said = [text.said for text in texts(svg_of(chart.spec))]
    assert {"A 17", "B 5", "C 40", "n = 62"} <= set(said)
    assert [f"{letter}: {part}" for letter, part in zip("ABC", PARTS, strict=True)] == said[-3:]


def test_a_row_that_nobody_counted_says_so_and_one_of_zeros_says_zero():
    chart = shares("a", "Counts", PARTS, [ShareRow("2025", None, "nobody counted"), ShareRow("2026", (0, 0, 0))])
    said = {text.said for text in texts(svg_of(chart.spec))}
    assert {"× nobody counted", "n = 0"} <= said


def test_words_are_read_on_every_colour_of_a_part():
    """WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1, by its formula of relative luminance."""
    for fill in palette.PARTS:
        assert (_luminance(fill) + 0.05) / (_luminance(palette.INK) + 0.05) >= 4.5


def _luminance(colour):
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("name", ["Hill", LONG, "W" * 300, "מגרש תחתון", "m" * 40])
def test_no_text_leaves_the_picture_even_in_a_wide_font(name, seed):
    for chart in samples(name, seed):
        svg = svg_of(chart.spec)
        width, height = float(root_of(svg).get("width")), float(root_of(svg).get("height"))
        for text in texts(svg):
            assert text.left >= -0.5, (chart.code, text)
            assert text.right <= width + 0.5, (chart.code, text)
            assert 0 < text.y < height, (chart.code, text)


@pytest.mark.parametrize("seed", range(8))
def test_no_two_texts_lie_upon_each_other(seed):
    for chart in samples("Hill", seed):
        for one, other in itertools.combinations(texts(svg_of(chart.spec)), 2):
            apart = one.right <= other.left or other.right <= one.left or abs(one.y - other.y) >= 9
            assert apart, (chart.code, one, other)


def test_a_long_name_is_cut_and_stands_whole_in_its_title():
    svg = svg_of(shares("a", "Counts", PARTS, [ShareRow(LONG, (1, 2, 3))]).spec)
    (label,) = [node for node in root_of(svg).iter(f"{SVG}text") if (node.text or "").startswith("The long")]
    assert label.text.endswith("…")
    assert label.find(f"{SVG}title").text == LONG


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_shows_as_text(text):
    for chart in samples(text):
        svg = svg_of(chart.spec)
        assert len(svg) < 100_000
        for node in root_of(svg).iter():
            assert node.tag.removeprefix(SVG) in {
                "svg", "title", "desc", "rect", "g", "line", "text", "polyline", "circle",
            }  # fmt: skip
            assert not [name for name in node.attrib if name.startswith("on") or "href" in name]
            assert not [value for value in node.attrib.values() if "url(" in value]


def test_the_same_chart_is_drawn_with_the_same_bytes():
    first, again = samples(), samples()
    assert [svg_of(chart.spec) for chart in first] == [svg_of(chart.spec) for chart in again]


@pytest.mark.parametrize(
    ("where", "what"),
    [
        ((), {"transform": []}),
        ((), {"$schema": "https://vega.github.io/schema/vega-lite/v6.json"}),
        (("layer", 0), {"transform": []}),
        (("layer", 0, "mark"), {"type": "arc"}),
        (("layer", 0, "mark"), {"href": "https://example.org"}),
        (("layer", 0, "encoding"), {"tooltip": {"field": "n"}}),
        (("layer", 0, "encoding", "x", "scale"), {"type": "log"}),
        (("layer", 0, "encoding", "x", "axis"), {"orient": "top"}),
        (("layer", 0, "encoding", "x"), {"type": "temporal"}),
        (("title",), {"href": "https://example.org"}),
    ],
)
def test_what_the_subset_does_not_hold_is_refused(where, what):
    spec = copy.deepcopy(histogram("a", "Weights", [1.0, 2.0], of=WEIGHT).spec)
    inner = spec
    for step in where:
        inner = inner[step]
    inner |= what
    with pytest.raises(NotInSubset):
        svg_of(spec)


@pytest.mark.parametrize("parts", [(), ("a",) * 6])
def test_more_parts_than_there_are_letters_are_refused(parts):
    with pytest.raises(ValueError, match="1 to 5 parts"):
        shares("a", "Counts", parts, [])


def test_a_row_with_another_number_of_counts_is_refused():
    with pytest.raises(ValueError, match="one count for each part"):
        shares("a", "Counts", PARTS, [ShareRow("2026", (1, 2))])
