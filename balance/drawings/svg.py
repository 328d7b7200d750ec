"""Elements of SVG as text, with everything escaped that people named."""

from __future__ import annotations

import html
import re
from collections.abc import Iterable
from functools import cache
from typing import Final

#: What XML 1.0 has no way to carry.
_NO_XML: Final = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
#: Most words and all numbers: nothing to escape.
_BARE: Final = re.compile(r"[\w .,:;#%()+*/=-]*", re.ASCII)


def words(text: str) -> str:
    """Give text as the content of an element, or the value of an attribute.

    Examples
    --------
    >>> words('<b> & "c"')
    '&lt;b&gt; &amp; &quot;c&quot;'
    """
    if _BARE.fullmatch(text):
        return text
    return html.escape(_NO_XML.sub("\ufffd", text), quote=True)


def element(name: str, content: str | Iterable[str] = "", /, **attributes: str | float) -> str:
    """Give an element; its content is markup already, its attributes are escaped here.

    An underscore in the name of an attribute stands for a hyphen, one at its end for nothing.

    Examples
    --------
    >>> element("line", x1=0, y2=2.25, stroke_width=1)
    '<line x1="0" y2="2.2" stroke-width="1"/>'
    """
    said = "".join([f' {_name(key)}="{_value(value)}"' for key, value in attributes.items()])
    inside = content if isinstance(content, str) else "".join(content)
    return f"<{name}{said}>{inside}</{name}>" if inside else f"<{name}{said}/>"


@cache
def _name(key: str) -> str:
    return key.rstrip("_").replace("_", "-")


def _value(value: str | float) -> str:
    if isinstance(value, str):
        return words(value)
    return f"{value:.1f}".removesuffix(".0") if value else "0"


def drawing(drawn: Iterable[str], width: float, height: float, labelled_by: str, **look: str | float) -> str:
    """Give a drawing as a document that stands alone; ``labelled_by`` names its title and description."""
    return element(
        "svg",
        drawn,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {width:.0f} {height:.0f}",
        width=width,
        height=height,
        role="img",
        aria_labelledby=labelled_by,
        **look,
    )


def text(said: str, x: float, y: float, **attributes: str | float) -> str:
    """Give a line of text at a place."""
    return element("text", words(said), x=x, y=y, **attributes)


def line(start: tuple[float, float], end: tuple[float, float], **attributes: str | float) -> str:
    """Give a straight line."""
    return element("line", x1=start[0], y1=start[1], x2=end[0], y2=end[1], **attributes)
