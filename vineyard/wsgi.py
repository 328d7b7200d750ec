"""The WSGI application; it does not come up as a role that could look over the walls."""

from __future__ import annotations

import os
import sys

from django.core.wsgi import get_wsgi_application
from django.db import DatabaseError, connection

from vineyard.database_role import UnsafeRole, refuse_unsafe_role

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "vineyard.settings")
application = get_wsgi_application()

try:
    refuse_unsafe_role()
except UnsafeRole as refusal:
    sys.exit(str(refusal))
except DatabaseError:
    # Away for the moment: /readyz says so, and every request asks again. The check is made by the first start
    # that can, and by `manage.py serve` before it.
    pass
finally:
    connection.close()
