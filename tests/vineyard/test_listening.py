"""Where the service listens, and what is looked at before anything is started."""

from __future__ import annotations

import argparse
import json
import os
import socket

import pytest

from vineyard.listening import CannotStart, Listening, look_before_starting, port_number

GONE = 2**22 + 1  # beyond the highest pid that Linux gives


@pytest.mark.parametrize(
    ("host", "reached"),
    [("127.0.0.1", "127.0.0.1"), ("0.0.0.0", "127.0.0.1"), ("::", "[::1]"), ("::1", "[::1]"), ("vines.example", "vines.example")],
)  # fmt: skip
def test_the_address_is_one_that_this_machine_can_call(host, reached):
    assert Listening(host, 8000).base_url == f"http://{reached}:8000"


def test_port_0_is_settled_to_a_free_one():
    settled = Listening("127.0.0.1", 0).settled()
    assert settled.port > 0
    assert Listening("127.0.0.1", 8000).settled().port == 8000


def test_a_taken_port_is_refused_and_a_free_one_is_not():
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(CannotStart, match=rf"Port {port} of 127.0.0.1 cannot be used: .* Choose another: --port\."):
            look_before_starting(["--port", str(port)])
    assert look_before_starting(["--port", "0", "--verbosity", "0"])


@pytest.mark.parametrize("text", ["-1", "65536", "80a", "٨٠", "", "8e3"])
def test_what_is_no_port_is_named(text):
    with pytest.raises(argparse.ArgumentTypeError, match="no port"):
        port_number(text)


def test_arguments_that_cannot_be_read_are_left_to_the_command():
    assert look_before_starting(["--port", "many"]) is False


@pytest.mark.parametrize("content", [json.dumps({"pid": GONE}), "half a fi", "[]"])
def test_the_ready_file_of_a_service_that_is_gone_is_dropped(content, tmp_path):
    file = tmp_path / "ready.json"
    file.write_text(content)
    look_before_starting(["--port", "0", "--ready-file", str(file)])
    assert not file.exists()


def test_the_ready_file_of_a_service_that_runs_stays(tmp_path):
    file = tmp_path / "ready.json"
    file.write_text(json.dumps({"pid": os.getpid()}))
    look_before_starting(["--port", "0", "--ready-file", str(file)])
    assert file.exists()


def test_a_ready_file_that_cannot_be_written_is_refused_before_anything_starts(tmp_path):
    with pytest.raises(CannotStart, match="cannot be written"):
        look_before_starting(["--port", "0", "--ready-file", str(tmp_path / "missing" / "ready.json")])
