"""What happens at summaries that others count."""

from __future__ import annotations

from typing import Final

from django.dispatch import Signal

#: The rows of a summary are about to be read: ``outcome`` (replica; or, from the primary, why: none, away, lagging,
#: unsettled, lost).
summary_read: Final = Signal()
