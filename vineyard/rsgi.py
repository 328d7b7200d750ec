"""What granian serves: the WSGI application behind a front that waits for slow clients without a thread."""

from __future__ import annotations

from django.conf import settings

from vineyard.front import Front
from vineyard.wsgi import application as _inner

application = Front(_inner, threads=settings.API_THREADS)
