"""What the database's constraints say, from every app, by the constraint's name."""

from __future__ import annotations

import logging
from typing import Any, Final

from django.db import IntegrityError

from balance import constraints as balance
from records import constraints as records
from records.api.faults import pointer
from records.services.storing import constraint_of
from vineyard.api.problems import KINDS, Kind

log = logging.getLogger("vineyard.api")

CONSTRAINTS: Final = {**records.CONSTRAINTS, **balance.CONSTRAINTS}


def said_by(error: IntegrityError) -> tuple[Kind, str, list[dict[str, Any]]]:
    """Give the kind of problem, the sentence and the place of the constraint that a write met."""
    name = constraint_of(error)
    if name not in CONSTRAINTS:
        log.error("constraint %s has no sentence", name)
        return KINDS["conflict"], "It clashes with what is stored.", []
    code, path, sentence = CONSTRAINTS[name]
    kind = KINDS["already_recorded"] if code == "already_recorded" else KINDS["not_valid"]
    return kind, sentence, [{"pointer": pointer(path), "code": code, "detail": sentence}]
