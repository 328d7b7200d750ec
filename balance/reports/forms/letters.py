"""Words of other people as a PDF can show them: one line, no longer than anybody reads, in letters that its fonts have.

Nothing is dropped in silence: a letter that no font has stands as its code point, and what was cut says so.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from pathlib import Path
from typing import Final

from balance.formulas.counting import counted
from balance.reports.charts.lettering import cut, width_of

FONTS: Final = Path(__file__).resolve().parent.parent / "fonts"
_RIGHT_TO_LEFT: Final = re.compile("[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufeff]")
#: A space that does not break is none of these.
_GAPS: Final = re.compile("[ \t\n\r\f\v\x1c-\x1f\x85\u2028\u2029]+")
_ISOLATED: Final = "\u2068{}\u2069"
#: Where a word that is too long for its column may be broken; it has no width.
_SEAM: Final = "\u200b"
#: How wide a letter is in the middle [em].
_USUAL: Final = 0.6


@lru_cache(maxsize=1)
def covered() -> frozenset[int]:
    """Give the code points that the fonts of a PDF have."""
    found: set[int] = set()
    for line in (FONTS / "covered.txt").read_text(encoding="ascii").splitlines():
        if not line.startswith("#"):
            for part in line.split():
                first, _, last = part.partition("-")
                found.update(range(int(first, 16), int(last or first, 16) + 1))
    return frozenset(found)


def shown(said: str, *, most: int = 2000, word: int = 30, strict: bool = False) -> str:
    r"""Give text as it is set.

    Parameters
    ----------
    said : str
        Whatever somebody wrote.
    most : int
        How many letters are shown of it; the rest is counted.
    word : int
        A word wider than so many usual letters may be broken there.
    strict : bool
        Write marks that combine with other letters as codes too, because a font may lack the combination.

    Examples
    --------
    >>> shown("a\nb  c"), shown("abcdef", most=3)
    ('a b c', 'abc… (cut: 3 more letters)')
    >>> shown("\u6f22")
    '‹U+6F22›'
    """
    left = len(said) - most
    if said.isascii() and said.isprintable() and "  " not in said:
        plain = said[:most].strip(" ")
    else:
        line = _GAPS.sub(" ", unicodedata.normalize("NFC", said[:most])).strip(" ")
        plain = "".join(letter if _has(letter, strict=strict) else f"‹U+{ord(letter):04X}›" for letter in line)
    if left > 0:
        plain += f"… (cut: {counted(f'{left:,}', 'more letter')})"
    if len(plain) > word // 2:
        plain = " ".join([_broken(one, word * _USUAL) if len(one) > word // 2 else one for one in plain.split(" ")])
    return _ISOLATED.format(plain) if _RIGHT_TO_LEFT.search(plain) else plain


def footing(said: str, room: float, more: str = "") -> str:
    """Cut words that were made ready to what a foot of a page has room for [em], where nothing may be broken."""
    bare = said.replace(_SEAM, "")
    short = cut(bare, room, 1)
    # An isolate that was opened is closed again where its end was cut off.
    closed = short + _ISOLATED[-1] if short.startswith(_ISOLATED[0]) and not short.endswith(_ISOLATED[-1]) else short
    return closed + more


def _broken(word: str, room: float) -> str:
    """Put seams into a word wherever it has filled the room [em]."""
    if width_of(word, 1) <= room:
        return word
    parts, left = [], room
    for letter in word:
        wide = width_of(letter, 1)
        if wide > left:
            parts.append(_SEAM)
            left = room
        parts.append(letter)
        left -= wide
    return "".join(parts)


def _has(letter: str, *, strict: bool) -> bool:
    if strict and unicodedata.category(letter).startswith("M"):
        return False
    return ord(letter) in covered()
