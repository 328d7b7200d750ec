"""How wide words are, guarded upwards, and what is done with words that are too long."""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from typing import Final

FONT: Final = "Source Sans Pro, Helvetica, Arial, sans-serif"
ELLIPSIS: Final = "…"
#: Advance widths of the printable letters of ASCII, in thousandths of the font's size: those of DejaVu Sans, the
#: widest of the usual sans-serif fonts (measured with fontTools), but for J, which is wider elsewhere.
_ASCII: Final = (
    318, 401, 460, 838, 637, 951, 780, 275, 391, 391, 500, 838, 318, 361, 318, 337, 637, 637, 637, 637, 637, 637, 637,
    637, 637, 637, 337, 337, 838, 838, 838, 531, 1000, 685, 687, 699, 771, 632, 576, 775, 752, 295, 500, 656, 558, 863,
    749, 788, 604, 788, 695, 635, 611, 732, 685, 989, 686, 611, 686, 391, 337, 391, 838, 500, 500, 613, 635, 550, 635,
    616, 353, 635, 634, 278, 278, 580, 278, 975, 634, 612, 635, 635, 412, 521, 393, 634, 592, 818, 592, 592, 525, 637,
    337, 637, 838,
)  # fmt: skip
#: Bold letters of that font are wider by this much at most.
BOLD: Final = 1.27
_FULL: Final = 1.5
#: The same by the code of a letter of ASCII, in the font's size; a control is as wide as any letter that is not known.
_BY_CODE: Final = (*[_FULL] * 32, *(wide / 1000 for wide in _ASCII), _FULL)


def width_of(said: str, size: float) -> float:
    """Give a width [px] that the text does not exceed, in a font of a size [px]."""
    if said.isascii():
        return size * sum(map(_BY_CODE.__getitem__, said.encode()))
    return size * sum(map(_letter, said))


@lru_cache(maxsize=4096)
def _letter(letter: str) -> float:
    bare = unicodedata.normalize("NFD", letter)[0]
    if " " <= bare <= "~":
        return _ASCII[ord(bare) - 32] / 1000
    if unicodedata.combining(letter):
        return 0.0
    return 1.05 if letter in "×–−…≥≤±²³½°·" else _FULL


def plain(said: str, most: int = 4000) -> str:
    """Give text in one line: no line breaks or controls, and no more of it than anybody reads in a chart."""
    short = said if len(said) <= most else said[: most - 1] + ELLIPSIS
    return " ".join("".join(letter if letter.isprintable() else " " for letter in short).split())


def cut(said: str, limit: float, size: float) -> str:
    """Give as much of a text as fits, with an ellipsis where some does not.

    Examples
    --------
    >>> cut("Block", 100, 10), cut("A block with a very long name", 80, 10)
    ('Block', 'A block with…')
    """
    if width_of(said, size) <= limit:
        return said
    room, kept = limit - width_of(ELLIPSIS, size), ""
    for letter in said:
        room -= size * _letter(letter)
        if room < 0:
            break
        kept += letter
    return kept.rstrip() + ELLIPSIS


def wrapped(said: str, limit: float, size: float, lines: int) -> list[str]:
    """Give text in so many lines at most, broken between words; what is left over ends in an ellipsis."""
    rows: list[str] = []
    words = plain(said).split(" ")
    while words and len(rows) < lines:
        row = words.pop(0)
        while words and width_of(f"{row} {words[0]}", size) <= limit:
            row += f" {words.pop(0)}"
        rows.append(row)
    if words:
        rows[-1] = f"{rows[-1]} {' '.join(words)}"
    return [cut(row, limit, size) for row in rows]
