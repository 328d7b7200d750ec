"""Colours that colour-blind people tell apart: the palette of Okabe and Ito.

Source: M. Okabe and K. Ito, "Color Universal Design (CUD): how to make figures and presentations that are friendly to
colorblind people", 2002, revised 2008 (values from memory).  Colour never
says anything alone: letters, shapes, dashes and words say it too.
"""

from __future__ import annotations

from typing import Final

ORANGE: Final = "#e69f00"
SKY_BLUE: Final = "#56b4e9"
BLUISH_GREEN: Final = "#009e73"
YELLOW: Final = "#f0e442"
BLUE: Final = "#0072b2"
VERMILLION: Final = "#d55e00"
REDDISH_PURPLE: Final = "#cc79a7"

INK: Final = "#1a1a1a"
QUIET: Final = "#555555"
GRID: Final = "#dddddd"
#: Parts of a whole, in this order; dark letters are read on every one of them.
PARTS: Final = (SKY_BLUE, YELLOW, ORANGE, REDDISH_PURPLE, BLUISH_GREEN)
