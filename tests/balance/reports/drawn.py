"""Charts as the sections could have them, and what stands in the SVG that was drawn of one."""

from __future__ import annotations

import random
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import matplotlib
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]

from balance.reports.charts import (
    Assigned,
    Centre,
    Quantity,
    SeasonPoint,
    ShareRow,
    histogram,
    histogram_of_bins,
    over_seasons,
    shares,
)
from balance.reports.document import Chart

SVG = "{http://www.w3.org/2000/svg}"
LOAD = Quantity("Crop load", "kg/kg", 1)
WEIGHT = Quantity("Pruning weight of a vine", "lb")
PARTS = ("On target, within what the scale can tell", "More nodes than the target", "Fewer nodes than the target")
LONG = "The long terrace below the packing shed, planted again in the year after the great frost"


def samples(name: str = "Lower Terrace", seed: int = 1) -> list[Chart]:
    """Give charts of every kind, with a name in every text that a person could have written."""
    chance = random.Random(seed)
    weights = [chance.lognormvariate(0.5, 0.4) for _ in range(chance.randint(20, 200))]
    whole = [float(chance.randint(20, 90)) for _ in range(40)]
    some = [SeasonPoint(2018 + k, 4 + k, 10 * k, 3.5 + k, 5 + k) for k in range(9) if k not in {3, 4}]
    many = [SeasonPoint(1990 + k, 100.0 + k, 1000 + k, 90.0 + k, 130.0 + k) for k in range(30)]
    rows = [ShareRow(f"{name} {k}", (chance.randint(0, 90), 3, chance.randint(0, 40))) for k in range(12)]
    bins = [chance.randint(0, 4000) for _ in range(64)] + [1]
    centre = Centre("mean", sum(weights) / len(weights), 1.4, 1.9, "95 % interval of the mean")
    return [
        histogram("a", name, [*weights, None], of=WEIGHT, centre=centre, assigned=Assigned(0.8, 2.0, name)),
        histogram("b", name, whole, of=Quantity("Count nodes kept", "", 0)),
        histogram("c", name, [1e-6, 2e-6, 5e-6], of=WEIGHT),
        histogram("d", name, [7_000_000.0] * 4000, of=WEIGHT, assigned=Assigned(None, 9_500_000, name)),
        over_seasons("e", name, some, of=LOAD, assigned=Assigned(5, 10, name, 0)),
        over_seasons("f", name, many, of=Quantity("Pruning weight per length of row", "lb/ft")),
        over_seasons("g", name, [SeasonPoint(2026, 0.0, 12), SeasonPoint(2025, -3.25, 9, -4.0, -2.0)], of=LOAD),
        shares("h", name, PARTS, [*rows, ShareRow(name, None, f"{name} was not counted")]),
        shares("i", name, PARTS[:1], [ShareRow(name, (0,))]),
        histogram_of_bins("j", name, bins, 0.125, of=WEIGHT, open_end=True, said=[name]),
        histogram_of_bins("k", name, [0, 3, 2], 0.275577825545, of=WEIGHT, open_end=False, said=[]),
    ]


@dataclass(frozen=True)
class Written:
    """A text of a drawing: where it begins and ends when it is set in the widest usual font."""

    said: str
    left: float
    right: float
    y: float


def root_of(svg: str) -> Any:
    return ET.fromstring(svg)


def texts(svg: str) -> list[Written]:
    """Give every text with its extent, measured in DejaVu Sans."""
    return [*_texts(root_of(svg), 0.0, 0.0)]


def _texts(node: Any, x: float, y: float) -> Any:
    for child in node:
        if child.tag == f"{SVG}g":
            dx, dy = map(float, re.findall(r"-?[\d.]+", child.get("transform", "translate(0 0)"))[:2])
            yield from _texts(child, x + dx, y + dy)
        elif child.tag == f"{SVG}text":
            yield _written(child, x, y)


def _written(node: Any, x: float, y: float) -> Written:
    said = node.text or ""
    size = float(node.get("font-size", 12))
    wide = measured(said, size, bold=node.get("font-weight") == "bold")
    part = {"start": 0.0, "middle": 0.5, "end": 1.0}[node.get("text-anchor", "start")]
    if "rotate" in node.get("transform", ""):
        moved = float(re.findall(r"-?[\d.]+", node.get("transform"))[0])
        return Written(said, x + moved - size, x + moved + size * 0.3, y)
    begins = x + float(node.get("x")) - part * wide
    return Written(said, begins, begins + wide, y + float(node.get("y")))


def measured(said: str, size: float, *, bold: bool = False) -> float:
    """Measure text in DejaVu Sans; a letter that it lacks is as wide as its sign for such letters."""
    advances, missing = _advances(bold)
    return size * sum(advances.get(ord(letter), missing) for letter in said)


@cache
def _advances(bold: bool) -> tuple[dict[int, float], float]:
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    font = TTFont(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name)
    unit = font["head"].unitsPerEm
    widths = {code: font["hmtx"][glyph][0] / unit for code, glyph in font.getBestCmap().items()}
    return widths, font["hmtx"][".notdef"][0] / unit
