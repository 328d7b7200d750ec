"""The kinds of job of this package: whoever asks for, cancels or carries out jobs imports this, and nobody else.

What they need takes over half a second to import, which no other command should wait for.
"""

from __future__ import annotations

from balance.reports import making as _making  # noqa: F401 - registers its kind, and those of what is announced
from balance.reports import schedules as _schedules  # noqa: F401 - registers its kind
from balance.reports.webhooks import summary_changes as _summary_changes  # noqa: F401 - registers its kind
from balance.reports.webhooks import worklist_due as _worklist_due  # noqa: F401 - registers its kind
