"""The report as a tagged PDF that is kept for ever: PDF/UA-1 and PDF/A-2a, set by typst.

The template beside this module takes everything as data: whatever people wrote is content, never markup, and nothing is
fetched.  The letters are Source Sans Pro (SIL Open Font License, vendored unchanged in ``balance/reports/fonts``): an
open sans-serif drawn for screens and forms, with figures of one width for tables; what it lacks, such as Hebrew, Arabic
and Greek, is taken from the fonts inside typst.  No font of the machine is used, so the bytes are the same everywhere.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any, Final

import orjson

from balance.reports.forms.letters import FONTS
from balance.reports.forms.pages import pages_of

_TEMPLATE: Final = Path(__file__).with_name("report.typ")
#: The template is parsed once; only the files of data beside it are new for each report.  Data in ``sys.inputs`` would
#: be part of typst's library, and so of every key under which it remembers what it has set.
_MAIN: Final = f'#include "{_TEMPLATE.name}"'.encode()
#: Accessible (ISO 14289-1) and made to be kept (ISO 19005-2, level a).
STANDARDS: Final = ("ua-1", "a-2a")
#: typst's compiler is one at a time.
_ONE_AT_A_TIME: Final = threading.Lock()


def render(document: dict[str, Any], pages: Callable[..., dict[str, Any]] = pages_of) -> bytes:
    """Set the document; ``pages`` says what stands on its pages.

    Notes
    -----
    The standards ask that every letter has a glyph.  Where a combination of letters has none although each has, the
    marks that combine are written as codes; should even that fail, the report is set without the promise of the
    standards, because a report without a seal is worth more than none.
    """
    import typst  # noqa: PLC0415 - 80 MB that API processes need not load

    for strict, standards in ((False, STANDARDS), (True, STANDARDS)):
        try:
            return _set(document, pages(document, strict=strict), standards)
        except typst.TypstError as refused:
            if "could not be displayed" not in str(refused):
                raise
    return _set(document, pages(document, strict=True), ())


def _set(document: dict[str, Any], pages: dict[str, Any], standards: tuple[str, ...]) -> bytes:
    foot = {name: pages[name] for name in ("foot", "moment", "version", "code")}
    taken_at = datetime.fromisoformat(document["taken_at"])
    with _ONE_AT_A_TIME:
        made: bytes = _compiler().compile(
            {"main.typ": _MAIN, "data.json": orjson.dumps(pages), "foot.json": orjson.dumps(foot)},
            format="pdf",
            pdf_standards=list(standards),
            timestamp=int(taken_at.astimezone(UTC).timestamp()),
        )
    return made


@cache
def _compiler() -> Any:
    # There is a worker for every core; threads of typst's own would only take time from the other workers.
    os.environ.setdefault("RAYON_NUM_THREADS", "1")
    import typst  # noqa: PLC0415 - see above

    return typst.Compiler(root=str(_TEMPLATE.parent), font_paths=[str(FONTS)], ignore_system_fonts=True)
