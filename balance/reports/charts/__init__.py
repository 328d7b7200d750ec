"""Charts of a report: built once as a Vega-Lite 5 specification, drawn as SVG by our own writer of that subset.

``histogram``, ``over_seasons`` and ``shares`` build; ``drawing.svg_of`` draws.  The specification is the one source:
the PDF, the page and the API show it, and any Vega-Lite renderer can draw it again.
"""

from __future__ import annotations

from balance.reports.charts.bands import Assigned
from balance.reports.charts.drawing import NotInSubset, svg_of
from balance.reports.charts.histograms import Centre, histogram, histogram_of_bins
from balance.reports.charts.pieces import Quantity
from balance.reports.charts.seasons import SeasonPoint, over_seasons
from balance.reports.charts.stacks import ShareRow, shares

__all__ = [
    "Assigned",
    "Centre",
    "NotInSubset",
    "Quantity",
    "SeasonPoint",
    "ShareRow",
    "histogram",
    "histogram_of_bins",
    "over_seasons",
    "shares",
    "svg_of",
]
