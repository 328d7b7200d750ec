"""What the database's constraints say, from every app, by the constraint's name."""

from __future__ import annotations

from typing import Final

from balance import constraints as balance
from records import constraints as records

CONSTRAINTS: Final = {**records.CONSTRAINTS, **balance.CONSTRAINTS}
