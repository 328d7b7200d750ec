"""The pages of a PDF as a test reads them: words, boxes, pixels, tags."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pypdf
import pypdfium2
from numpy.typing import NDArray

#: Inches of the page that stay free of text but for the footer.
SIDE, BOTTOM = 0.75, 0.95
_INCH = 72


def squashed(said: str) -> str:
    """Give text without white space, seams and isolates: lines are broken anywhere."""
    return re.sub(r"[\s\u200b\u2068\u2069\ufffe\u00ad]", "", said)


@dataclass
class Leaves:
    """A PDF."""

    content: bytes

    @cached_property
    def pdfium(self) -> Any:
        return pypdfium2.PdfDocument(self.content)

    @cached_property
    def structure(self) -> pypdf.PdfReader:
        return pypdf.PdfReader(io.BytesIO(self.content))

    @cached_property
    def texts(self) -> list[str]:
        return [page.get_textpage().get_text_range() for page in self.pdfium]

    @cached_property
    def text(self) -> str:
        return squashed("".join(self.texts))

    def says(self, said: str) -> bool:
        return squashed(said) in self.text

    def sizes(self) -> set[tuple[float, float]]:
        return {(round(page.get_width()), round(page.get_height())) for page in self.pdfium}

    def boxes(self, page: Any) -> Iterator[tuple[str, tuple[float, float, float, float]]]:
        """Give the boxes that the words of a page take up: left, bottom, right, top [pt]."""
        text = page.get_textpage()
        for at in range(text.count_rects()):
            box = text.get_rect(at)
            yield text.get_text_bounded(*box), box

    def strays(self) -> list[tuple[int, str, tuple[float, float, float, float]]]:
        """Give the words that reach into a margin, or from the body into the footer."""
        found = []
        for number, page in enumerate(self.pdfium, start=1):
            width, height = page.get_width(), page.get_height()
            for said, box in self.boxes(page):
                left, bottom, right, top = box
                aside = left < SIDE * _INCH - 1 or right > width - SIDE * _INCH + 1
                beyond = bottom < 0.3 * _INCH or top > height - 0.5 * _INCH
                across = bottom < BOTTOM * _INCH - 3 < top
                if aside or beyond or across:
                    found.append((number, said, box))
        return found

    def footers(self) -> list[str]:
        """Give what stands at the foot of every page."""
        return [
            page.get_textpage().get_text_bounded(0, 0, page.get_width(), BOTTOM * _INCH - 3) for page in self.pdfium
        ]

    def picture(self, at: int) -> NDArray[np.uint8]:
        """Give a page as its pixels, two to a point, grey."""
        return np.asarray(self.pdfium[at].render(scale=2, grayscale=True).to_numpy())

    def inked_margins(self) -> list[int]:
        """Give the pages of which a margin left, right or above is not white."""
        inked = []
        side, above = int((SIDE * _INCH - 3) * 2), int(0.5 * _INCH * 2)
        for number in range(len(self.pdfium)):
            pixels = self.picture(number)
            if min(pixels[:, :side].min(), pixels[:, -side:].min(), pixels[:above].min()) < 250:
                inked.append(number + 1)
        return inked

    def elements(self) -> list[dict[str, Any]]:
        """Give the elements of the structure tree, in its order."""
        found: list[dict[str, Any]] = []

        def walk(node: Any) -> None:
            node = node.get_object() if hasattr(node, "get_object") else node
            if isinstance(node, dict):
                if "/S" in node:
                    found.append(node)
                kids = node.get("/K", [])
                kids = kids.get_object() if hasattr(kids, "get_object") else kids
                for kid in kids if isinstance(kids, list) else [kids]:
                    walk(kid)

        walk(self.structure.root_object["/StructTreeRoot"])
        return found

    def names(self) -> set[str]:
        """Give every name that is a key or a value anywhere in the file, such as of actions."""
        found: set[str] = set()

        def walk(node: Any) -> None:
            if isinstance(node, dict):
                found.update(map(str, node))
                for value in node.values():
                    walk(value)
            elif isinstance(node, list):
                for value in node:
                    walk(value)
            elif isinstance(node, pypdf.generic.NameObject):
                found.add(str(node))

        for number in range(1, len(self.structure.xref[0]) + len(self.structure.xref_objStm) + 2):
            try:
                walk(self.structure.get_object(number))
            except pypdf.errors.PdfReadError:
                continue
        return found
