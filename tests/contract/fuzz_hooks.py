"""What a fuzzer cannot make up, given to it by the service itself: a cursor is a token that only a list hands out."""

from __future__ import annotations

import os
from typing import Any
from urllib.parse import parse_qs, urlparse

import httpx
import schemathesis


@schemathesis.hook
def before_call(context: Any, case: Any, kwargs: Any) -> None:
    """Put a genuine cursor where a well-formed request carries one that nobody handed out."""
    if case.meta is None or not case.meta.generation.mode.is_positive or "cursor" not in (case.query or {}):
        return
    del case.query["cursor"]
    address = os.environ["FUZZED"] + case.formatted_path
    headers = {"Authorization": f"Bearer {os.environ['OWNER_KEY']}"}
    page = httpx.get(address, params={**case.query, "limit": 1}, headers=headers, timeout=30, trust_env=False)
    if "next" in page.links:  # RFC 8288; the body may be a sheet
        case.query["cursor"] = parse_qs(urlparse(page.links["next"]["url"]).query)["cursor"][0]
