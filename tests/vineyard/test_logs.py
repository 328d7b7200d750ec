"""A line of the log: what stands on it, and what never does."""

from __future__ import annotations

import io
import json
import logging
from typing import Any

import pytest

from vineyard import logs

CANARY = "kanarienvogel"


@pytest.fixture
def written() -> Any:
    """Log through the handler of the settings, with nothing bound, and read what it wrote."""
    logs.bind()  # a request that another test made in this process was the last to bind
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.addFilter(logs.Careful())
    handler.setFormatter(logs.JsonLines())

    def write(name: str, level: int, message: str, *args: Any, **more: Any) -> dict[str, Any]:
        logger = logging.Logger(name)
        logger.addHandler(handler)
        logger.log(level, message, *args, **more)
        line: dict[str, Any] = json.loads(stream.getvalue().splitlines()[-1])
        return line

    return write


def failed(failure: BaseException) -> BaseException:
    try:
        raise failure  # noqa: TRY301
    except BaseException as caught:
        return caught


def test_a_line_has_time_level_logger_message_and_what_is_bound(written):
    with logs.bound(request_id="r-1", trace_id=""):
        line = written("vineyard.jobs", logging.WARNING, "job %s waits", "j-1", extra={"facts": {"rows": 3}})
    assert line.pop("time").endswith("+00:00")
    assert line == {
        "level": "warning",
        "logger": "vineyard.jobs",
        "message": "job j-1 waits",
        "request_id": "r-1",
        "rows": 3,
    }
    assert "request_id" not in written("vineyard.jobs", logging.WARNING, "later")


@pytest.mark.parametrize("name", ["vineyard.jobs", "django.request", "celery.app.trace"])
def test_an_exception_is_told_by_type_and_place_alone(name, written):
    failure = failed(ValueError(CANARY))
    line = written(name, logging.ERROR, "failed", exc_info=(type(failure), failure, failure.__traceback__))
    assert line["exception"].startswith("ValueError\n")
    assert "test_logs.py" in line["exception"]
    assert CANARY not in json.dumps(line)


def test_the_causes_of_an_exception_are_told_too_and_no_folder_of_the_machine():
    failure = failed(RuntimeError("outer"))
    failure.__cause__ = failed(KeyError(CANARY))
    told = logs.exception_without_words(failure)
    assert "caused by KeyError" in told
    assert CANARY not in told and f" {__file__}" not in told


def test_what_a_library_says_of_its_failure_is_left_out(written):
    failure = failed(ValueError(CANARY))
    line = written("celery.app.trace", logging.ERROR, "Task raised %r", failure, exc_info=failure)
    assert (line["message"], CANARY in json.dumps(line)) == ("failed", False)


def test_what_django_finds_suspicious_is_one_warning_without_its_words(written):
    failure = failed(ValueError(CANARY))
    line = written("django.security.DisallowedHost", logging.ERROR, f"Invalid host {CANARY}", exc_info=failure)
    assert (line["level"], line["message"]) == ("warning", "refused as suspicious: DisallowedHost")
    assert CANARY not in json.dumps(line)


def test_a_line_for_people_is_one_line_whatever_it_says(written):
    record = logging.LogRecord("vineyard", logging.WARNING, "", 0, "first\nsecond", (), None)
    told = logs.PlainLines().format(record)
    assert told.endswith("WARNING vineyard: first\\nsecond")


@pytest.mark.parametrize("message", ["x" * 100_000, "half a pair \ud800", "control \x00\x1b[31m"])
def test_whatever_a_message_holds_it_is_one_short_line_of_json(message, written):
    assert len(written("vineyard", logging.INFO + 10, message)["message"]) <= logs.LONGEST_MESSAGE + 10


TRACE = "4bf92f3577b34da6a3ce929d0e0e4736"


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        (f"00-{TRACE}-00f067aa0ba902b7-01", TRACE),
        (f"cc-{TRACE}-00f067aa0ba902b7-01-what-the-future-will-be", TRACE),
        (f"00-{TRACE}-00f067aa0ba902b7-01-more", ""),
        (f"ff-{TRACE}-00f067aa0ba902b7-01", ""),
        (f"00-{'0' * 32}-00f067aa0ba902b7-01", ""),
        (f"00-{TRACE}-{'0' * 16}-01", ""),
        (f"00-{TRACE.upper()}-00f067aa0ba902b7-01", ""),
        ("", ""),
        ("00-short-01", ""),
    ],
)
def test_a_trace_is_followed_as_w3c_trace_context_says(header, expected):
    assert logs.trace_id_of(header) == expected


def test_the_server_writes_as_the_settings_say():
    """granian reads a file of its own; it must not drift from the settings."""
    from vineyard.servers import SERVER_LOGS

    theirs = json.loads(SERVER_LOGS.read_text())
    for part in ("filters", "formatters", "handlers"):
        assert theirs[part] == logs.CONFIGURATION[part]
