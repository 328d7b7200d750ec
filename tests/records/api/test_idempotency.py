"""A request with an ``Idempotency-Key`` takes effect once, and is answered alike however often it is sent."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.db import connection

from records.api.bulk import Records
from records.api.farms import Farms
from records.api.idempotency import BadKey, key_of
from records.bulk.storing import VinesMoved
from records.context import set_context
from records.models import Block, Farm, KeptAnswer
from records.services import answers
from tests.conftest import leave_farms

pytestmark = pytest.mark.django_db


@pytest.fixture
def blocks(cast: Any) -> str:
    return f"/api/v1/farms/{cast.farm.pk}/blocks"


def send(player: Any, path: str, body: Any, key: str, **more: Any) -> Any:
    text = body if isinstance(body, str) else json.dumps(body)
    return player.client.post(path, text, content_type="application/json", headers={"Idempotency-Key": key}, **more)


def count(farm: Any) -> int:
    set_context(farms=[farm.pk])
    return Block.objects.for_farm(farm).count()


KEY = "8e03978e-40d5-43dd-bc93-6894a57f9324"


def test_sent_twice_it_takes_effect_once_and_is_answered_alike(cast, blocks):
    first = send(cast.owner, blocks, {"name": "Lower Terrace"}, KEY)
    again = send(cast.owner, blocks, {"name": "Lower Terrace"}, KEY)
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.content == first.content
    for name in ("Content-Type", "Location", "ETag"):
        assert again.headers[name] == first.headers[name]
    assert "Idempotent-Replayed" not in first.headers
    assert again.headers["Idempotent-Replayed"] == "true"
    assert count(cast.farm) == 1


def test_without_a_key_nothing_is_kept(cast, blocks):
    assert cast.owner.client.post(blocks, {"name": "Lower Terrace"}).status_code == 201
    set_context(farms=[cast.farm.pk])
    assert not KeptAnswer.objects.for_farm(cast.farm).exists()


@pytest.mark.parametrize(
    "same",
    [
        pytest.param('{"declared_area":{"value":2.50,"unit":"har"},"name":"Lower Terrace"}', id="other order"),
        pytest.param(
            ' {\n "name" : "Lower\\u0020Terrace", "declared_area": {"unit": "har", "value": 2.5} } ',
            id="other spelling",
        ),
    ],
)
def test_order_and_space_do_not_make_another_request(same, cast, blocks):
    """trust.md A5."""
    first = send(cast.owner, blocks, {"name": "Lower Terrace", "declared_area": {"value": 2.5, "unit": "har"}}, KEY)
    assert first.status_code == 201, first.content
    again = send(cast.owner, blocks, same, KEY)
    assert (again.status_code, again.content) == (201, first.content)


def test_another_content_under_the_same_key_is_refused_and_stores_nothing(cast, blocks):
    send(cast.owner, blocks, {"name": "Lower Terrace"}, KEY)
    other = send(cast.owner, blocks, {"name": "Upper Terrace"}, KEY)
    assert (other.status_code, other.json()["code"]) == (422, "idempotency_key_reused")
    assert count(cast.farm) == 1


def test_another_query_is_another_content(cast, blocks):
    send(cast.owner, blocks, {"name": "Lower Terrace"}, KEY)
    assert send(cast.owner, f"{blocks}?a=1", {"name": "Lower Terrace"}, KEY).status_code == 422


def test_a_key_of_one_person_or_farm_means_nothing_to_another(cast, blocks):
    """trust.md A6: two records, no cross answer."""
    theirs = f"/api/v1/farms/{cast.other_farm.pk}/blocks"
    one = send(cast.owner, blocks, {"name": "Lower Terrace"}, KEY)
    other = send(cast.stranger, theirs, {"name": "Lower Terrace"}, KEY)
    assert (one.status_code, other.status_code) == (201, 201)
    assert one.json()["id"] != other.json()["id"]
    assert (count(cast.farm), count(cast.other_farm)) == (1, 1)


def test_the_same_key_at_another_address_is_another_request(cast, blocks):
    send(cast.owner, blocks, {"name": "Lower Terrace"}, KEY)
    assert send(cast.owner, "/api/v1/farms", FARM, KEY).status_code == 201


FARM = {"name": "Slate Ridge (invented)", "hemisphere": "north", "time_zone": "America/New_York"}


def test_a_request_that_names_no_farm_is_known_again_by_its_sender(cast):
    first, again = (send(cast.owner, "/api/v1/farms", FARM, KEY) for _ in range(2))
    assert first.json()["id"] == again.json()["id"]
    assert send(cast.stranger, "/api/v1/farms", FARM, KEY).json()["id"] != first.json()["id"]


@pytest.mark.parametrize(
    ("body", "status"),
    [({"name": ""}, 400), ({"nmae": "Lower Terrace"}, 400), ("{", 400)],
)
def test_what_was_refused_may_be_mended_under_the_same_key(body, status, cast, blocks):
    assert send(cast.owner, blocks, body, KEY).status_code == status
    assert send(cast.owner, blocks, {"name": "Lower Terrace"}, KEY).status_code == 201


def test_a_refusal_is_judged_anew(cast, blocks):
    """The viewer may not; once made a worker, the same request goes through."""
    from records.models import Role
    from records.services.farms import set_role

    assert send(cast.viewer, blocks, {"name": "Lower Terrace"}, KEY).status_code == 403
    set_context(farms=[cast.farm.pk])
    set_role(cast.farm, cast.viewer.person, Role.OWNER)
    leave_farms()
    assert send(cast.viewer, blocks, {"name": "Lower Terrace"}, KEY).status_code == 201


def test_who_lost_their_part_in_the_farm_is_given_no_old_answer(cast, blocks):
    from records.models import Membership

    send(cast.owner, blocks, {"name": "Lower Terrace"}, KEY)
    set_context(farms=[cast.farm.pk])
    Membership.objects.for_farm(cast.farm).filter(person=cast.owner.person).delete()
    leave_farms()
    assert send(cast.owner, blocks, {"name": "Lower Terrace"}, KEY).status_code == 404


def test_a_change_is_repeated_without_a_second_version(cast, blocks):
    made = cast.owner.client.post(blocks, {"name": "Lower Terrace"}).json()
    path, headers = f"{blocks}/{made['id']}", {"If-Match": '"1"', "Idempotency-Key": KEY}
    first, again = (cast.owner.client.patch(path, {"name": "Upper Terrace"}, headers=headers) for _ in range(2))
    assert [first.status_code, first.json()["version"]] == [200, 2]
    assert [again.status_code, again.content, again.headers["ETag"]] == [200, first.content, '"2"']


@pytest.mark.parametrize(
    "key",
    ["short", "x" * 256, '"unclosed-key-of-many-letters', "key with a space in it", "schlüssel-mit-umlaut", ""],
)
def test_what_is_no_key_is_refused_and_names_the_header(key, cast, blocks):
    refused = send(cast.owner, blocks, {"name": "Lower Terrace"}, key)
    assert refused.status_code == 400
    assert refused.json()["errors"][0]["header"] == "Idempotency-Key"
    assert "16 to 255" in refused.json()["detail"]
    assert count(cast.farm) == 0


@pytest.mark.parametrize(
    ("sent", "key"),
    [
        ("x" * 16, "x" * 16),
        ("x" * 255, "x" * 255),
        ('"quoted, with a space"', "quoted, with a space"),
        ('"with \\"quotes\\" and \\\\"', 'with "quotes" and \\'),
    ],
)
def test_a_key_is_bare_or_quoted(sent, key):
    assert key_of(sent) == key


def test_the_same_key_quoted_and_bare_is_one(cast, blocks):
    first = send(cast.owner, blocks, {"name": "Lower Terrace"}, KEY)
    assert send(cast.owner, blocks, {"name": "Lower Terrace"}, f'"{KEY}"').content == first.content


def test_a_key_of_another_kind_of_request_is_passed_over(cast, blocks):
    assert cast.owner.client.get(blocks, headers={"Idempotency-Key": "x"}).status_code == 200


def test_an_answer_that_shows_a_secret_is_not_kept(cast, monkeypatch):
    monkeypatch.setattr(Farms, "answer_is_secret", True)
    first = send(cast.owner, "/api/v1/farms", {**FARM, "name": "Canary Hollow (invented)"}, KEY)
    assert first.status_code == 201
    again = send(cast.owner, "/api/v1/farms", {**FARM, "name": "Canary Hollow (invented)"}, KEY)
    assert (again.status_code, again.json()["code"]) == (409, "answer_not_kept")
    set_context(farms=None, person=cast.owner.person.pk)
    assert [kept.body for kept in KeptAnswer.objects.for_farm(answers.NO_FARM)] == [None]


def test_a_long_answer_is_kept_compressed_and_given_back_whole(cast, blocks, monkeypatch):
    monkeypatch.setattr(answers, "LARGEST_PLAIN", 10)
    first = send(cast.owner, blocks, {"name": "Lower Terrace"}, KEY)
    assert send(cast.owner, blocks, {"name": "Lower Terrace"}, KEY).content == first.content
    set_context(farms=[cast.farm.pk])
    assert KeptAnswer.objects.for_farm(cast.farm).get().deflated


def test_an_answer_too_long_to_keep_says_so(cast, blocks, monkeypatch):
    monkeypatch.setattr(answers, "LARGEST_KEPT", 10)
    send(cast.owner, blocks, {"name": "Lower Terrace"}, KEY)
    assert send(cast.owner, blocks, {"name": "Lower Terrace"}, KEY).json()["code"] == "answer_not_kept"
    assert count(cast.farm) == 1


def test_a_file_is_compared_by_its_bytes_and_still_read_by_the_view(cast):
    path = f"/api/v1/farms/{cast.farm.pk}/imports?block=From+a+file&season=2026"
    text = "row,vine,pruning_weight\n1,1,1.25\n"

    def upload(content: str) -> Any:
        return cast.owner.client.post(path, content, content_type="text/csv", headers={"Idempotency-Key": KEY})

    first, again, other = upload(text), upload(text), upload(text + "1,2,1.5\n")
    assert (first.status_code, again.content) == (202, first.content)
    assert (other.status_code, other.json()["code"]) == (422, "idempotency_key_reused")


def test_many_records_at_once_are_answered_alike_also_when_they_were_carried_out_twice(cast, monkeypatch):
    """Two writers that wait for each other are no fault of the caller's: the view does its work again."""
    inner, tries = Records._taken, []

    def first_fails(view: Any, *args: Any) -> Any:
        tries.append(1)
        if len(tries) == 1:
            raise VinesMoved
        return inner(view, *args)

    monkeypatch.setattr(Records, "_taken", first_fails)
    path, lines = f"/api/v1/farms/{cast.farm.pk}/records", '{"kind": "shoot_count"}\n{"kind": "vine_event"}\n'

    def upload() -> Any:
        kind = "application/x-ndjson"
        return cast.owner.client.post(path, lines, content_type=kind, headers={"Idempotency-Key": KEY})

    first, again = upload(), upload()
    assert (first.status_code, len(tries)) == (207, 2)
    assert (again.status_code, again.content, len(tries)) == (207, first.content, 2)


def test_the_wall_shows_a_kept_answer_to_nobody_else(cast, blocks):
    send(cast.owner, blocks, {"name": "Lower Terrace"}, KEY)
    send(cast.owner, "/api/v1/farms", FARM, KEY)
    set_context(farms=[cast.other_farm.pk], person=cast.stranger.person.pk)
    assert KeptAnswer.objects.count() == 0
    set_context(farms=None, person=None)
    assert KeptAnswer.objects.count() == 0


def test_the_sweep_leaves_what_is_not_old(cast, blocks):
    send(cast.owner, blocks, {"name": "Lower Terrace"}, KEY)
    assert answers.forget_old_answers() == 0
    assert send(cast.owner, blocks, {"name": "Lower Terrace"}, KEY).headers["Idempotent-Replayed"] == "true"


def test_erasing_a_farm_takes_its_answers_along(cast, blocks):
    send(cast.owner, blocks, {"name": "Lower Terrace"}, KEY)
    set_context(farms=[cast.farm.pk], person=cast.owner.person.pk)
    name = Farm.objects.get(pk=cast.farm.pk).name
    with connection.cursor() as cursor:
        cursor.execute("SELECT erase_farm(%s, %s)", [cast.farm.pk, name])
        assert json.loads(cursor.fetchone()[0])["kept_answer"] == 1
        cursor.execute("SELECT count(*) FROM kept_answer")
        assert cursor.fetchone() == (0,)


def test_every_bad_key_is_told_apart_from_a_bad_body():
    with pytest.raises(BadKey, match="Idempotency-Key is of length 5"):
        key_of("short")
