"""What is deprecated says so: in each answer to whoever uses it, in the OpenAPI document, and in a metric."""

from __future__ import annotations

import copy
import re
import uuid
from datetime import UTC, datetime, timedelta, timezone
from email.utils import parsedate_to_datetime
from typing import Any

import pytest
from django.core.management import call_command
from prometheus_client import REGISTRY as METRICS

from records.kinds.definitions import DORMANT_RECORD
from tests.records.yard import Yard
from vineyard.api import deprecations
from vineyard.api.deprecating import NothingLikeIt, mark_deprecated
from vineyard.api.deprecations import Deprecation, deprecated_of

pytestmark = pytest.mark.django_db
BLOCKS, RECORDS = "/api/v1/farms/{farm}/blocks", "/api/v1/farms/{farm}/dormant-records"
SINCE, SUNSET = datetime(2023, 6, 30, 23, 59, 59, tzinfo=UTC), datetime(2030, 6, 30, 23, 59, 59, tzinfo=UTC)


def entry(operation: str = f"GET {BLOCKS}", part: str = "operation", name: str = "", **more: Any) -> Deprecation:
    told: dict[str, Any] = {
        "since": SINCE,
        "sunset": SUNSET,
        "documentation": "/docs",
        "successor": "/api/v1/farms/{farm}/changes",
    }
    return Deprecation(operation, part=part, name=name, **{**told, **more})


@pytest.fixture
def deprecate(monkeypatch):
    """Put entries into the registry, for one test."""

    def put(*entries: Deprecation) -> None:
        monkeypatch.setattr(deprecations, "REGISTRY", list(entries))

    return put


@pytest.fixture
def yard(cast) -> Yard:
    return Yard(cast)


def test_nothing_is_deprecated_today_and_no_answer_says_otherwise(yard):
    assert deprecations.REGISTRY == []
    answer = yard.client.get(f"{yard.url}/blocks")
    assert {"Deprecation", "Sunset"} & set(answer.headers) == set()


# --- The values of the fields ------------------------------------------------------------------------------------


def test_deprecation_is_written_as_in_the_example_of_rfc_9745():
    """RFC 9745, section 2.1: ``Deprecation: @1688169599`` (READ*: in quotations of it; the date, recomputed)."""
    assert entry(since=datetime(2023, 6, 30, 23, 59, 59, tzinfo=UTC)).deprecation_field == "@1688169599"


def test_sunset_is_written_as_in_the_example_of_rfc_9745():
    """RFC 9745, section 4.2, from memory: ``Sunset: Sun, 30 Jun 2024 23:59:59 GMT`` beside the date above."""
    told = entry(since=datetime(2023, 6, 30, tzinfo=UTC), sunset=datetime(2024, 6, 30, 23, 59, 59, tzinfo=UTC))
    assert told.sunset_field == "Sun, 30 Jun 2024 23:59:59 GMT"


def test_sunset_has_the_form_of_the_example_of_rfc_8594():
    """RFC 8594, section 3: ``Sunset: Sat, 31 Dec 2018 23:59:59 GMT`` (READ*: in quotations of it); it was a Monday."""
    told = entry(since=datetime(2017, 1, 1, tzinfo=UTC), sunset=datetime(2018, 12, 31, 23, 59, 59, tzinfo=UTC))
    assert told.sunset_field == "Mon, 31 Dec 2018 23:59:59 GMT"


def test_times_of_another_offset_are_written_as_the_same_instant():
    adelaide = timezone(timedelta(hours=9, minutes=30))
    told = entry(since=SINCE.astimezone(adelaide), sunset=SUNSET.astimezone(adelaide))
    assert (told.deprecation_field, told.sunset_field) == (entry().deprecation_field, entry().sunset_field)


@pytest.mark.parametrize(
    "wrong",
    [
        {"sunset": SINCE - timedelta(seconds=1)},  # RFC 9745, section 4.2: never before the deprecation
        {"sunset": SINCE + timedelta(days=364)},  # less than a season's notice
        {"since": datetime(2023, 6, 30)},  # noqa: DTZ001 - a time without its offset is what is refused
        {"operation": "/api/v1/farms"},
        {"operation": "get /api/v1/farms"},
        {"part": "parameter"},
        {"name": "limit"},
        {"part": "header", "name": "limit"},
        {"documentation": '/docs>; rel="next'},
        {"successor": "/api/v1/x\r\nX-Other: 1"},
    ],
)
def test_an_entry_that_could_not_be_kept_or_told_is_refused(wrong):
    with pytest.raises(ValueError, match="days|offset|address|name|holds"):
        entry(**wrong)


# --- Answers -----------------------------------------------------------------------------------------------------


def test_an_operation_says_since_when_until_when_and_what_to_use_instead(yard, deprecate):
    deprecate(entry())
    answer = yard.client.get(f"{yard.url}/blocks")
    assert answer.status_code == 200
    assert answer.headers["Deprecation"] == "@1688169599"
    assert parsedate_to_datetime(answer.headers["Sunset"]) == SUNSET
    relations = dict(re.findall(r'<([^>]*)>; rel="([a-z-]+)"', answer.headers["Link"])[::-1])
    assert relations == {"/docs": "deprecation", f"{yard.url}/changes": "successor-version"}
    assert '</docs>; rel="sunset"' in answer.headers["Link"]


def test_what_it_answers_does_not_change(yard, deprecate):
    """RFC 9745, section 5: the act of deprecation does not change any behaviour of the resource."""
    before = yard.client.get(f"{yard.url}/blocks")
    deprecate(entry(sunset=SINCE + timedelta(days=365)))  # over by now
    after = yard.client.get(f"{yard.url}/blocks")
    assert (after.status_code, after.content) == (before.status_code, before.content)


@pytest.mark.parametrize("method", ["head", "get"])
def test_who_reads_the_head_alone_is_told_too(yard, deprecate, method):
    deprecate(entry())
    assert getattr(yard.client, method)(f"{yard.url}/blocks").headers["Deprecation"] == "@1688169599"


def test_a_refusal_of_a_deprecated_operation_is_told_too_and_another_operation_says_nothing(yard, deprecate):
    deprecate(entry())
    refused = yard.client.get(f"{yard.url}/blocks?colour=red")
    assert (refused.status_code, refused.headers["Deprecation"]) == (400, "@1688169599")
    assert "Deprecation" not in yard.client.get(f"{yard.url}/vines/{yard.vines[0].pk}").headers


def test_links_to_the_next_page_stay_beside_those_of_the_deprecation(yard, deprecate, cast):
    deprecate(entry("GET " + "/api/v1/farms/{farm}/blocks/{block}/vines"))
    answer = yard.client.get(f"{yard.url}/blocks/{yard.block.pk}/vines?limit=5")
    assert {'rel="next"', 'rel="deprecation"', 'rel="successor-version"'} <= set(
        re.findall(r'rel="[a-z-]+"', answer.headers["Link"])
    )


def test_a_parameter_is_told_of_to_whoever_sends_it_alone(yard, deprecate):
    deprecate(entry(part="parameter", name="limit"))
    with_it, without = (yard.client.get(f"{yard.url}/blocks{query}") for query in ("?limit=5", ""))
    assert "Deprecation" in with_it.headers
    assert "Deprecation" not in without.headers


def test_a_parameter_with_a_capital_is_a_header(yard, deprecate):
    deprecate(entry(f"POST {RECORDS}", part="parameter", name="Idempotency-Key"))
    sent = [
        yard.client.post(f"{yard.url}/dormant-records", yard.new(DORMANT_RECORD, vine=str(vine.pk), id=...),
                         format="json", headers=headers)
        for vine, headers in zip(yard.vines, ({"Idempotency-Key": str(uuid.uuid4())}, {}), strict=False)
    ]  # fmt: skip
    assert [("Deprecation" in answer.headers, answer.status_code) for answer in sent] == [(True, 201), (False, 201)]


@pytest.mark.parametrize(
    ("part", "name", "told"),
    [
        ("request", "note", True),
        ("request", "pruning_weight/unit", True),
        ("request", "pruning_weight/colour", False),
        ("request", "cordons/*/length", False),
        ("response", "target/status", True),
        ("response", "target/nothing", False),
    ],
)
def test_a_member_is_told_of_where_the_request_or_the_answer_holds_it(yard, deprecate, part, name, told):
    deprecate(entry(f"POST {RECORDS}", part=part, name=name))
    answer = yard.post(DORMANT_RECORD, yard.new(DORMANT_RECORD, note="seen"))
    assert answer.status_code == 201
    assert ("Deprecation" in answer.headers) is told, answer.json()


def test_a_member_of_each_of_a_list_is_told_of_where_the_list_has_any(yard, deprecate):
    deprecate(entry(part="response", name="results/*/version"))
    assert "Deprecation" in yard.client.get(f"{yard.url}/blocks").headers
    deprecate(entry(f"GET {RECORDS}", part="response", name="results/*/version"))
    assert "Deprecation" not in yard.client.get(f"{yard.url}/dormant-records").headers


@pytest.mark.parametrize("body", [b"", b"{", b"[1, 2", b'"text"', b"\xff\xfe", b'{"note": NaN}'])
def test_a_body_that_nobody_can_read_is_refused_as_before(yard, deprecate, body):
    deprecate(entry(f"POST {RECORDS}", part="request", name="note"))
    answer = yard.client.post(f"{yard.url}/dormant-records", body, content_type="application/json")
    assert answer.status_code == 400
    assert "Deprecation" not in answer.headers


def test_of_several_the_first_notice_and_the_first_end_are_told_and_every_link(yard, deprecate):
    later = entry(part="parameter", name="limit", since=SINCE + timedelta(days=9), sunset=SUNSET - timedelta(days=9),
                  documentation="/problems")  # fmt: skip
    deprecate(entry(), later)
    answer = yard.client.get(f"{yard.url}/blocks?limit=5")
    assert answer.headers["Deprecation"] == "@1688169599"
    assert parsedate_to_datetime(answer.headers["Sunset"]) == SUNSET - timedelta(days=9)
    assert {"</docs>", "</problems>"} <= set(re.findall(r"<[^>]*>", answer.headers["Link"]))


def test_an_address_that_is_not_there_is_as_it_was(cast, deprecate):
    deprecate(entry())
    assert cast.owner.client.get("/api/v1/nowhere").status_code == 404


# --- The metric ----------------------------------------------------------------------------------------------------


def counted(what: str, method: str = "GET") -> float:
    labels = {"route": BLOCKS, "method": method, "what": what}
    return METRICS.get_sample_value("vineyard_deprecated_requests_total", labels) or 0.0


def test_each_use_is_counted_by_route_and_name_and_by_no_id(yard, deprecate):
    deprecate(entry(), entry(part="parameter", name="limit"))
    before = counted("operation"), counted("parameter limit")
    for query in ("", "?limit=5", "?limit=6"):
        yard.client.get(f"{yard.url}/blocks{query}")
    assert (counted("operation") - before[0], counted("parameter limit") - before[1]) == (3, 2)
    labels = {label for metric in METRICS.collect() if metric.name == "vineyard_deprecated_requests"
              for sample in metric.samples for label in sample.labels.values()}  # fmt: skip
    assert not any(str(yard.block.farm_id) in label for label in labels)


# --- The OpenAPI document ------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def document(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    import yaml

    file = tmp_path_factory.mktemp("schema") / "openapi.yaml"
    call_command("spectacular", file=str(file))
    loaded: dict[str, Any] = yaml.load(file.read_text(), Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))
    return loaded


def test_an_operation_is_marked_with_a_sentence_and_its_headers(document, deprecate):
    deprecate(entry(instead="Read the changes."))
    marked = copy.deepcopy(document)
    mark_deprecated(marked)
    operation = marked["paths"][BLOCKS]["get"]
    assert operation["deprecated"] is True
    assert operation["description"].endswith(
        "Deprecated since 2023-06-30; it may go on 2030-06-30. Read the changes. Use /api/v1/farms/{farm}/changes."
    )
    assert {"Deprecation", "Sunset"} <= operation["responses"]["200"]["headers"].keys()
    assert "deprecated" not in marked["paths"][BLOCKS]["post"]


@pytest.mark.parametrize(
    ("told", "found"),
    [
        (
            entry(part="parameter", name="limit"),
            lambda d: next(each for each in d["paths"][BLOCKS]["get"]["parameters"] if each["name"] == "limit"),
        ),
        (
            entry(f"POST {RECORDS}", part="request", name="note"),
            lambda d: d["components"]["schemas"]["DormantRecordInRequest"]["properties"]["note"],
        ),
        (
            entry(f"GET {RECORDS}", part="response", name="results/*/note"),
            lambda d: d["components"]["schemas"]["DormantRecordOut"]["properties"]["note"],
        ),
    ],
)
def test_a_parameter_or_member_is_marked_once(document, deprecate, told, found):
    deprecate(told)
    marked = copy.deepcopy(document)
    mark_deprecated(marked)
    assert found(marked)["deprecated"] is True
    assert found(marked)["description"].count("Deprecated since 2023-06-30") == 1
    assert not found(document).get("deprecated")


@pytest.mark.parametrize(
    "wrong",
    [
        entry("GET /api/v1/nowhere"),
        entry(f"DELETE {BLOCKS}"),
        entry(part="parameter", name="colour"),
        entry(f"POST {RECORDS}", part="request", name="pruning_weight/colour"),
    ],
)
def test_an_entry_that_names_nothing_is_an_error_until_its_sunset_has_passed(document, deprecate, wrong):
    deprecate(wrong)
    with pytest.raises(NothingLikeIt):
        mark_deprecated(copy.deepcopy(document))
    over = {"since": SINCE - timedelta(days=900), "sunset": SINCE}
    deprecate(entry(wrong.operation, wrong.part, wrong.name, **over))
    marked = copy.deepcopy(document)
    mark_deprecated(marked)
    assert deprecated_of(*wrong.operation.split(" ")) != []


def test_a_document_without_deprecations_is_as_it_was(document):
    marked = copy.deepcopy(document)
    mark_deprecated(marked)
    assert marked == document
