"""Every hostile input is answered with a clear 4xx problem, never a 5xx, HTML, or a 2xx that did not apply.

The rows follow the table of what a stock stack gets wrong (api.md section 17, trust.md section 0).
"""

from __future__ import annotations

import json
from typing import Any

import pytest

from records.access import enter, open_farm
from records.models import Block, DormantRecord, Vine
from records.services.vineyards import create_block, create_row, plant_row

pytestmark = pytest.mark.django_db
PROBLEM = "application/problem+json"


@pytest.fixture
def ground(cast):
    """A block of three vines, and the addresses that the inputs go to."""
    enter(cast.owner.caller)
    opened = open_farm(cast.owner.caller, cast.farm.pk)
    block = create_block(opened, None, {"name": "Lower Terrace"}).row
    plant_row(opened, create_row(opened, block, None, 1).row, 3)
    cast.url = f"/api/v1/farms/{cast.farm.pk}"
    cast.vine = Vine.objects.for_farm(cast.farm).filter(place=1).get()
    return cast


def raw(cast: Any, body: bytes, path: str = "/blocks", content_type: str = "application/json", **headers: str) -> Any:
    return cast.owner.client.generic("POST", cast.url + path, body, content_type=content_type, headers=headers)


def weighing(cast: Any, **members: Any) -> bytes:
    body = {
        "vine": str(cast.vine.pk),
        "observed_at": "2027-01-16T10:02:00-05:00",
        "pruning_weight": {"value": 2.8, "unit": "lb"},
    }
    return json.dumps({**body, **members}).encode()


def refused(answer: Any, status: int) -> dict[str, Any]:
    """Assert a problem with a stable code and no word about the inside, and give its body."""
    assert answer.status_code == status, answer.content
    assert answer.headers["Content-Type"] == PROBLEM
    for inside in (b"Traceback", b"psycopg", b"Django", b"SELECT", b"site-packages"):
        assert inside not in answer.content
    body: dict[str, Any] = answer.json()
    assert body["code"] and body["request_id"] == answer.headers["X-Request-ID"]
    return body


BROKEN_JSON = {
    "not json": b"name=Lower",
    "empty": b"",
    "only white space": b"  \n",
    "trailing data": b'{"name": "a"} {}',
    "byte order mark": b'\xef\xbb\xbf{"name": "a"}',
    "not UTF-8": b'{"name": "\xff\xfe"}',
    "Windows-1252": '{"name": "Ch\xe2teau"}'.encode("cp1252"),
    "NaN": b'{"name": "a", "year_planted": NaN}',
    "Infinity": b'{"name": "a", "year_planted": -Infinity}',
    "duplicate members": b'{"name": "a", "name": "b"}',
    "5,000 levels deep": b"[" * 5_000 + b"]" * 5_000,
    "100,000 levels deep": b'{"a":' * 100_000 + b"1" + b"}" * 100_000,
    "unclosed text": b'{"name": "a',
    "raw control character": b'{"name": "a\x01b"}',
}


@pytest.mark.parametrize("number", [b"1e400", b"1e-400", b"9" * 31, b"9" * 5000], ids=["1e400", "1e-400", "31", "5000"])
def test_a_number_that_nobody_measures_is_422_at_its_place(number, ground):
    answer = refused(raw(ground, b'{"name": "a", "year_planted": ' + number + b"}"), 422)
    assert answer["errors"][0]["pointer"] == "#/year_planted"
    assert not Block.objects.for_farm(ground.farm).filter(name="a").exists()


@pytest.mark.parametrize("name", BROKEN_JSON)
def test_a_body_that_is_not_one_clear_json_document_is_400(name, ground):
    refused(raw(ground, BROKEN_JSON[name]), 400)
    assert not Block.objects.for_farm(ground.farm).filter(name="a").exists()


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        (b'{"name": "a\\u0000b"}', "#/name"),
        (b'{"name": "a\\ud800"}', "#/name"),
        (b'{"name": "a", "note": "x\\u202ey"}', "#/note"),
        (b'{"name": "a\\u0007"}', "#/name"),
        (b'{"name": "a", "ro\\u0000ot": 1}', "#"),
        (b'{"name": 7}', "#/name"),
        (b'{"name": ["a"]}', "#/name"),
        (b'{"name": ""}', "#/name"),
        (b'{"name": "a", "year_planted": "2009"}', "#/year_planted"),
        (b'{"name": "a", "year_planted": true}', "#/year_planted"),
        (b'{"name": "a", "year_planted": 2009.5}', "#/year_planted"),
        (b'{"name": "a", "yaer_planted": 2009}', "#/yaer_planted"),
        (b'{"name": "a", "row_spacing": 9}', "#/row_spacing"),
        (b'{"name": "a", "row_spacing": {"value": 9}}', "#/row_spacing/unit"),
        (b'{"name": "a", "row_spacing": {"value": 9, "unit": "lb"}}', "#/row_spacing/unit"),
        (b'{"name": "a", "row_spacing": {"value": 9, "unit": "ft", "note": 1}}', "#/row_spacing/note"),
        (b'{"name": "a", "training": "flying"}', "#/training"),
        (b'{"name": "a", "id": "not-an-id"}', "#/id"),
        (b"[]", "#"),
        (b'"text"', "#"),
        (b"null", "#"),
    ],
)
def test_a_member_that_breaks_the_schema_is_400_and_named(body, pointer, ground):
    errors = refused(raw(ground, body), 400)["errors"]
    assert errors[0]["pointer"] == pointer
    assert errors[0]["detail"]


def test_a_code_that_the_catalogue_lacks_is_422_and_named(ground):
    """No schema can list what a catalogue holds, so the request is well formed, and a rule refuses it."""
    errors = refused(raw(ground, b'{"name": "a", "cultivar": "conkord"}'), 422)["errors"]
    assert (errors[0]["pointer"], errors[0]["code"]) == ("#/cultivar", "does_not_exist")


@pytest.mark.parametrize(
    "member", ["farm", "farm_id", "version", "received_at", "created_by", "owner", "is_staff", "approved"]
)
def test_a_member_that_is_not_the_callers_to_set_is_refused_not_ignored(member, ground):
    errors = refused(raw(ground, json.dumps({"name": "a", member: 1}).encode()), 400)["errors"]
    assert (errors[0]["pointer"], errors[0]["code"]) == (f"#/{member}", "unknown_member")


@pytest.mark.parametrize(
    "weight",
    [
        2.8,
        "2.8 lb",
        {"value": 2.8},
        {"unit": "lb"},
        {"value": 2.8, "unit": "ton"},
        {"value": 2.8, "unit": "lbs."},
        {"value": 2.8, "unit": "KG"},
        {"value": 2.8, "unit": "kG"},
        {"value": 2.8, "unit": "m"},
        {"value": "1,5", "unit": "lb"},
        {"value": "½", "unit": "lb"},
        {"value": "２.８", "unit": "lb"},
        {"value": "nan", "unit": "lb"},
        {"value": "1e3", "unit": "lb"},
        {"value": True, "unit": "lb"},
        {"value": None, "unit": "lb"},
    ],
)
def test_a_weight_that_cannot_be_understood_is_400_and_named(weight, ground):
    errors = refused(raw(ground, weighing(ground, pruning_weight=weight), "/dormant-records"), 400)["errors"]
    assert errors[0]["pointer"].startswith("#/pruning_weight")


@pytest.mark.parametrize("value", ["2.8000000000001", 10**20])
def test_a_weight_with_more_digits_than_any_scale_shows_is_422_and_named(value, ground):
    weight = {"value": value, "unit": "lb"}
    errors = refused(raw(ground, weighing(ground, pruning_weight=weight), "/dormant-records"), 422)["errors"]
    assert errors[0]["pointer"] == "#/pruning_weight/value"


@pytest.mark.parametrize(
    "weight", [{"value": -1, "unit": "kg"}, {"value": 51, "unit": "kg"}, {"value": 2800, "unit": "lb"}]
)
def test_a_weight_that_no_vine_has_is_refused_with_the_limit(weight, ground):
    body = refused(raw(ground, weighing(ground, pruning_weight=weight), "/dormant-records"), 422)
    assert "0 and 50 kg" in body["detail"]
    assert not DormantRecord.objects.for_farm(ground.farm).exists()


@pytest.mark.parametrize(
    "observed_at",
    ["2027-01-16T10:02:00", "2027-01-16", "16.01.2027", "2027-02-30T10:00:00Z", "0000-01-01T00:00:00Z",
     "9999-12-31T23:59:59-01:00", "1899-01-01T00:00:00Z", "2027-01-16T24:00:00Z", "2027-01-16T23:59:60Z", 1799999999, None, ""],
)  # fmt: skip
def test_a_time_without_offset_or_that_never_was_is_400(observed_at, ground):
    errors = refused(raw(ground, weighing(ground, observed_at=observed_at), "/dormant-records"), 400)["errors"]
    assert errors[0]["pointer"] == "#/observed_at"


@pytest.mark.parametrize(
    "query",
    ["bogus=1", "limit=-1", "limit=0", "limit=501", "limit=99999999999999999999", "limit=ten", "limit=1&limit=2", "limit=",
     "limit=1.0", "limit=%D9%A1", "cursor=garbage", "cursor=", "cursor=W10", "count=exact", "ordering=bogus", "offset=1", "format=xml"],
)  # fmt: skip
def test_a_query_that_no_list_understands_is_400_and_named(query, ground):
    answer = ground.owner.client.get(f"{ground.url}/blocks?{query}")
    assert refused(answer, 400)["errors"][0]["parameter"] == query.split("=")[0]


@pytest.mark.parametrize("query", ["limit=%00", "%00=1", "cursor=a%00b", "limit=%ff"])
def test_a_null_character_or_broken_utf_8_in_the_query_is_400(query, ground):
    refused(ground.owner.client.get(f"{ground.url}/blocks?{query}"), 400)


@pytest.mark.parametrize(
    "path",
    ["/nope", "/api/v1/nope", "/api/v1/farms/7", "/api/v1/farms/not-an-id", "/api/v1/farms/%00",
     "/api/v1/farms/99999999999999999999999999999999999", "/api/v1/farms/", "/api/v1/farms/../../etc/passwd"],
)  # fmt: skip
def test_an_address_that_nothing_stands_at_is_a_404_problem(path, ground):
    refused(ground.owner.client.get(path), 404)


def test_a_body_over_the_limit_is_413_before_it_is_read(ground):
    answer = ground.owner.client.generic(
        "POST", f"{ground.url}/blocks", b"{}", content_type="application/json", CONTENT_LENGTH="100000000"
    )
    assert "2,500,000 bytes" in refused(answer, 413)["detail"]


def test_a_body_of_3_mb_is_413(ground):
    refused(raw(ground, b'{"note": "' + b"x" * 3_000_000 + b'"}'), 413)


def test_a_long_text_within_the_limit_is_400_and_names_the_most(ground):
    errors = refused(raw(ground, json.dumps({"name": "x" * 1_000_000}).encode()), 400)["errors"]
    assert "120" in errors[0]["detail"]


@pytest.mark.parametrize("encoding", ["gzip", "deflate", "br", "gzip, gzip"])
def test_a_compressed_body_is_415(encoding, ground):
    refused(raw(ground, b"{}", **{"Content-Encoding": encoding}), 415)


@pytest.mark.parametrize(
    "content_type",
    ["application/json; charset=foo", "application/json; charset=bz2_codec", "application/json; charset=utf-16",
     "text/plain", "application/x-www-form-urlencoded", "application/xml", "multipart/form-data; boundary=x"],
)  # fmt: skip
def test_a_body_in_another_form_is_415(content_type, ground):
    refused(raw(ground, b'{"name": "a"}', content_type=content_type), 415)


def test_a_body_of_unknown_length_is_411_never_ignored(ground):
    extra = {"CONTENT_LENGTH": "", "HTTP_TRANSFER_ENCODING": "chunked"}
    answer = ground.owner.client.generic("POST", f"{ground.url}/blocks", b"", content_type="application/json", **extra)
    refused(answer, 411)


def test_a_method_that_an_address_does_not_take_is_405_with_what_it_takes(ground):
    answer = ground.owner.client.delete(f"{ground.url}/blocks")
    refused(answer, 405)
    assert "POST" in answer.headers["Allow"]


def test_an_answer_in_a_form_that_the_service_does_not_speak_is_406(ground):
    refused(ground.owner.client.get(f"{ground.url}/blocks", headers={"Accept": "text/csv"}), 406)


@pytest.mark.parametrize(
    "authorization",
    [
        "",
        "Bearer",
        "Bearer ",
        "Bearer nonsense",
        "Basic dXNlcjpwYXNz",
        "Bearer vine_00000000_x",
        "Token x",
        "Bearer \xff",
    ],
)
def test_a_caller_who_is_not_known_is_401_and_told_how(authorization, ground):
    answer = ground.nobody.get("/api/v1/farms", headers={"Authorization": authorization})
    refused(answer, 401)
    assert answer.headers["WWW-Authenticate"].startswith("Bearer")


def test_a_change_without_if_match_is_428_and_with_an_old_version_412(ground):
    url = f"{ground.url}/vines/{ground.vine.pk}"
    refused(ground.owner.client.patch(url, {"label": "a"}, format="json"), 428)
    for tag in ('"7"', 'W/"1"', "1", '"x"', '"1", "2"'):
        refused(ground.owner.client.patch(url, {"label": "a"}, format="json", headers={"If-Match": tag}), 412)


def test_what_is_accepted_is_stored_exactly_as_sent(ground):
    text = 'Château – 葡萄 🍇 (it\'s "fine") <b>&amp;</b> ; DROP TABLE vine; --'
    answer = raw(
        ground,
        weighing(ground, note=text, pruning_weight={"value": "2.800000", "unit": "[lb_av]"}),
        "/dormant-records",
    )
    assert answer.status_code == 201
    assert answer.json()["note"] == text
    assert answer.json()["pruning_weight"] == {"value": 2.8, "unit": "[lb_av]", "kg": 1.270058636}


def test_a_request_id_of_the_callers_own_comes_back_unless_it_is_hostile(ground):
    for sent, kept in (("field-app_0042", True), ("a" * 64, True), ("a" * 65, False), ("x y", False), ("é", False)):
        answer = ground.nobody.get("/livez", headers={"X-Request-ID": sent})
        assert (answer.headers["X-Request-ID"] == sent) is kept
