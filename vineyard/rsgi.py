"""What granian serves: the WSGI application behind a front that waits for slow clients without a thread."""

from __future__ import annotations

import sys

from django.conf import settings

from vineyard.front import Front
from vineyard.wsgi import application as _inner

# isort: split
from vineyard.api.watching import note_refusal  # needs Django set up, which the application above has done

application = Front(_inner, threads=settings.API_THREADS, note=note_refusal)

#: A thread that has an answer of the database waits for this long at most until another thread lets it go on.  With
#: Python's 5 ms, storing a large body waited longer for the thread that reads ahead than the database took.
sys.setswitchinterval(0.0005)
