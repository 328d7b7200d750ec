"""The WSGI application; it does not serve as a role that could look over the walls."""

from __future__ import annotations

import logging
import os
import sys

from django.core.wsgi import get_wsgi_application

from vineyard.api.bodies import WholeBodies
from vineyard.database_role import SafeRole, UnsafeRole

log = logging.getLogger("vineyard.start")
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "vineyard.settings")
_safe = SafeRole(get_wsgi_application())

from vineyard.metrics import fold_the_dead  # noqa: E402 - needs Django set up

try:
    _safe.look()
except UnsafeRole as refusal:
    log.critical("%s", refusal)
    sys.exit(1)
fold_the_dead()
application = WholeBodies(_safe)
