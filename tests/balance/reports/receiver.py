"""A receiver of webhooks on loopback, with TLS by an authority of its own, and a worker that sends what is queued."""

from __future__ import annotations

import ssl
import subprocess
import threading
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from django.db import transaction
from django.db.models.functions import Now

from balance.reports.rendering import FORMS
from records.access import open_for_work
from records.models import Job, JobTicket
from records.models.jobs import JobState
from records.services import jobs


@dataclass
class Received:
    """One request as it came in."""

    path: str
    headers: dict[str, str]
    body: bytes


@dataclass
class Receiver:
    """What stands at the other end: it answers what it is told to, and keeps what it was sent."""

    port: int
    certificate: Path
    status: int = 204
    answer_headers: dict[str, str] = field(default_factory=dict)
    answer_body: bytes = b""
    received: list[Received] = field(default_factory=list)

    @property
    def place(self) -> str:
        return f"localhost:{self.port}"

    @property
    def url(self) -> str:
        return f"https://{self.place}/told?by=farm"


@contextmanager
def receiving(folder: Path) -> Iterator[Receiver]:
    """Listen on loopback with a certificate for ``localhost``."""
    certificate, key = folder / "certificate.pem", folder / "key.pem"
    argv = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"]
    argv += ["-days", "2", "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1"]
    made = [*argv, "-keyout", str(key), "-out", str(certificate)]
    subprocess.run(made, check=True, capture_output=True, timeout=30)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, key)
    receiver = Receiver(0, certificate)
    server = _Server(("127.0.0.1", 0), _handler_of(receiver))
    server.socket = context.wrap_socket(server.socket, server_side=True)
    receiver.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    try:
        yield receiver
    finally:
        server.shutdown()
        server.server_close()
        thread.join(5)


@contextmanager
def let_in(folder: Path, settings: Any) -> Iterator[Receiver]:
    """Listen on loopback, where messages of the service may go and its authority is believed."""
    with receiving(folder) as receiver:
        settings.WEBHOOKS_MAY_GO_TO = frozenset({receiver.place})
        settings.WEBHOOKS_CA_FILE = str(receiver.certificate)
        yield receiver


class _Server(ThreadingHTTPServer):
    def handle_error(self, *_: Any) -> None:
        """Say nothing of a sender that went away: some tests are about that."""


def _handler_of(receiver: Receiver) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            receiver.received.append(Received(self.path, dict(self.headers), body))
            self.send_response(receiver.status)
            for name, value in receiver.answer_headers.items():
                self.send_header(name, value)
            self.send_header("Content-Length", str(len(receiver.answer_body)))
            self.end_headers()
            self.wfile.write(receiver.answer_body)

        def log_message(self, *_: Any) -> None:
            """Say nothing."""

    return Handler


def make_json_only(monkeypatch: Any) -> None:
    """Let reports be made in one form: what is announced of them does not hang on the others."""
    for form in [form for form in FORMS if form != "json"]:
        monkeypatch.delitem(FORMS, form)


def queued(farm: Any, kind: str) -> list[tuple[uuid.UUID, Any]]:
    """Give every job of a kind that waits, with when it is due."""
    with transaction.atomic():
        open_for_work(farm.pk)
        waiting = Job.objects.for_farm(farm).filter(kind=kind, state=JobState.QUEUED).values_list("pk", flat=True)
        tickets = JobTicket.objects.filter(farm_id=farm.pk, job_id__in=list(waiting)).order_by("leased_until")
        return list(tickets.values_list("job_id", "leased_until"))


def work(farm: Any, kind: str = "deliver_webhook") -> int:
    """Carry out every job of a kind that waits, as if its time had come; give how many."""
    waiting = queued(farm, kind)
    for job_id, _ in waiting:
        JobTicket.objects.filter(farm_id=farm.pk, job_id=job_id).update(leased_until=Now())
        jobs.run(farm.pk, job_id)
    return len(waiting)
