"""The WSGI application; it does not serve as a role that could look over the walls."""

from __future__ import annotations

import os
import sys

from django.core.wsgi import get_wsgi_application

from vineyard.api.bodies import WholeBodies
from vineyard.database_role import SafeRole, UnsafeRole

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "vineyard.settings")
_safe = SafeRole(get_wsgi_application())
try:
    _safe.look()
except UnsafeRole as refusal:
    sys.exit(str(refusal))
application = WholeBodies(_safe)
