"""Consent: an adviser or a program comes in by it, for its purpose, while it is in force, and not a request longer."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.urls import get_resolver

from records.access import enter, open_farm
from records.models import Consent, Program, ProgramMembership
from records.services.consents import Asked, give_consent, withdraw_consent
from tests.conftest import leave_farms
from tests.test_access_matrix import routes

pytestmark = pytest.mark.django_db

LONG_AGO, SOON = "2020-01-01T00:00:00Z", "2099-01-01T00:00:00Z"


class Gate:
    """The owner's side of a farm, and a way to see who gets in."""

    def __init__(self, cast: Any) -> None:
        self.cast, self.url = cast, f"/api/v1/farms/{cast.farm.pk}"
        self.standing = self.list()[0]

    def list(self) -> list[dict[str, Any]]:
        listed: list[dict[str, Any]] = self.cast.owner.client.get(f"{self.url}/consents").json()["results"]
        return listed

    def give(self, **asked: Any) -> Any:
        return self.cast.owner.client.post(f"{self.url}/consents", asked, format="json")

    def for_program(self, purpose: str, **more: Any) -> Any:
        return self.give(purpose=purpose, program=str(self.cast.program.pk), text_version=f"{purpose}@1", **more)

    def for_adviser(self, **more: Any) -> Any:
        adviser = {"email": self.cast.adviser.person.email, "name": "Mira"}
        return self.give(**{"purpose": "advice", "adviser": adviser, "text_version": "advice@1", **more})

    def withdraw(self, consent: dict[str, Any], version: str = "*") -> Any:
        return self.cast.owner.client.delete(f"{self.url}/consents/{consent['id']}", headers={"If-Match": version})

    def times(self, consent: dict[str, Any], **columns: Any) -> None:
        """Let time pass, as far as a consent is concerned."""
        enter(self.cast.owner.caller)
        open_farm(self.cast.owner.caller, self.cast.farm.pk)
        Consent.objects.for_farm(self.cast.farm).filter(pk=consent["id"]).update(**columns)
        leave_farms()

    def sees(self, name: str) -> int:
        return int(getattr(self.cast, name).client.get(self.url).status_code)


@pytest.fixture
def gate(cast: Any) -> Gate:
    return Gate(cast)


def addresses(cast: Any) -> list[tuple[str, str]]:
    """Give every method and address of the API under a farm, with ids that nothing has; the board asks that one."""
    under = [each for each in routes() if "{farm}" in each[1] and each[1].startswith("api/")]
    slots = {name for pattern in _patterns(get_resolver().url_patterns) for name in pattern.pattern.converters}
    ids = {name: uuid.uuid4() for name in slots} | {"farm": cast.farm.pk}
    return [(method, "/" + route.format(**ids)) for method, route in under]


def _patterns(patterns: Any) -> Any:
    for pattern in patterns:
        yield from _patterns(pattern.url_patterns) if hasattr(pattern, "url_patterns") else [pattern]


def ask(client: Any, method: str, address: str) -> int:
    return int(getattr(client, method.lower())(address, {}, format="json", headers={"If-Match": "*"}).status_code)


def test_from_the_request_after_a_withdrawal_no_address_of_the_farm_opens(cast, gate):
    asked = [each for each in addresses(cast) for _ in range(5)][:200]
    assert len(asked) >= 100
    let_in = [ask(cast.adviser.client, method, address) for method, address in asked]
    assert 200 in let_in
    assert gate.withdraw(gate.standing).status_code == 200
    assert {ask(cast.adviser.client, method, address) for method, address in asked} == {404}


def test_each_of_a_hundred_withdrawals_works_on_the_very_next_request(cast, gate):
    standing = gate.standing
    for _ in range(100):
        assert gate.sees("adviser") == 200
        gate.withdraw(standing)
        assert gate.sees("adviser") == 404
        standing = gate.for_adviser().json()


def test_a_withdrawn_farm_is_gone_from_the_lists_too(cast, gate):
    assert [farm["role"] for farm in cast.adviser.client.get("/api/v1/farms").json()["results"]] == ["adviser"]
    gate.withdraw(gate.standing)
    for address, member in (("/api/v1/farms", "results"), ("/api/v1/me", "farms"), ("/api/v1/programs", "results")):
        assert cast.adviser.client.get(address).json()[member] == []


def test_a_page_of_a_list_that_was_begun_under_a_consent_is_not_gone_on_with_after_it(cast, gate):
    for name in ("Lower", "Upper"):
        cast.owner.client.post(f"{gate.url}/blocks", {"name": name}, format="json")
    following = cast.adviser.client.get(f"{gate.url}/blocks?limit=1").json()["next"]
    assert cast.adviser.client.get(following).status_code == 200
    gate.withdraw(gate.standing)
    assert cast.adviser.client.get(following).status_code == 404


def test_what_the_process_keeps_of_a_block_stands_behind_the_door(cast, gate):
    """balance.walking keeps a block's vines from one request to the next."""
    made = cast.owner.client.post(f"{gate.url}/blocks", {"name": "Lower"}, format="json").json()
    address = f"{gate.url}/blocks/{made['id']}/targets?season=2027"
    assert cast.adviser.client.get(address).status_code == 200
    gate.withdraw(gate.standing)
    assert cast.adviser.client.get(address).status_code == 404
    assert cast.owner.client.get(address).status_code == 200


def test_a_consent_that_has_run_out_opens_nothing(gate):
    gate.times(gate.standing, valid_from=LONG_AGO, valid_until="2021-01-01T00:00:00Z")
    assert gate.sees("adviser") == 404


def test_a_consent_that_has_not_begun_opens_nothing(cast, gate):
    gate.withdraw(gate.standing)
    assert gate.for_adviser(**{"from": SOON}).status_code == 201
    assert gate.sees("adviser") == 404


def test_a_consent_opens_the_farm_between_its_times(gate):
    gate.times(gate.standing, valid_from=LONG_AGO, valid_until=SOON)
    assert gate.sees("adviser") == 200


def test_a_consent_to_read_does_not_let_an_adviser_record(cast, gate):
    body = {"vine": str(uuid.uuid4()), "observed_at": "2027-01-16T10:02:00-05:00"}
    assert cast.adviser.client.post(f"{gate.url}/dormant-records", body, format="json").status_code == 422
    gate.withdraw(gate.standing)
    assert gate.for_adviser().json()["rights"] == ["read"]
    refused = cast.adviser.client.post(f"{gate.url}/dormant-records", body, format="json")
    assert (refused.status_code, "consent does not let you" in refused.json()["detail"]) == (403, True)


@pytest.mark.parametrize("purpose", ["summaries", "benchmarks"])
def test_consent_to_be_counted_lets_nobody_read(gate, purpose):
    given = gate.for_program(purpose)
    assert (given.status_code, given.json()["rights"]) == (201, [])
    assert gate.sees("lead") == 404


def test_consent_to_be_counted_for_one_purpose_counts_for_no_other(cast, gate):
    from django.db import transaction

    from records.access import consents_to_count, enter

    gate.for_program("benchmarks")
    with transaction.atomic():
        enter(cast.lead.caller)
        counted = {
            purpose: consents_to_count(cast.lead.caller, cast.program.pk, purpose).count()
            for purpose in ("summaries", "benchmarks")
        }
    assert counted == {"summaries": 0, "benchmarks": 1}


def test_consent_for_records_lets_the_programs_leads_read_and_nothing_else(cast, gate):
    assert gate.for_program("records").json()["rights"] == ["read"]
    assert cast.lead.client.get(gate.url).json()["role"] == "program"
    assert cast.lead.client.post(f"{gate.url}/blocks", {"name": "a"}, format="json").status_code == 403
    assert cast.lead.client.get(f"{gate.url}/members").status_code == 403


def test_a_grower_joins_a_program_by_the_code_that_its_leads_give_out(cast):
    address = f"/api/v1/programs/{cast.program.pk}"
    code = cast.lead.client.get(address).json()["join_code"]
    assert cast.owner.client.get(address).json()["join_code"] is None
    consents = f"/api/v1/farms/{cast.other_farm.pk}/consents"
    asked = {"purpose": "records", "text_version": "records@1"}
    joined = cast.stranger.client.post(consents, {**asked, "join_code": code}, format="json")
    assert (joined.status_code, joined.json()["program"]["id"]) == (201, str(cast.program.pk))
    assert cast.lead.client.get(f"/api/v1/farms/{cast.other_farm.pk}").status_code == 200


def test_a_program_that_does_not_concern_the_grower_is_told_from_a_missing_one_by_nothing(cast):
    consents = f"/api/v1/farms/{cast.other_farm.pk}/consents"
    asked = {"purpose": "records", "text_version": "records@1"}
    ids = (str(cast.program.pk), str(uuid.uuid4()))
    foreign, missing = (cast.stranger.client.post(consents, {**asked, "program": each}, format="json") for each in ids)
    assert foreign.status_code == missing.status_code == 422
    said = [answer.json()["detail"].replace(each, "") for answer, each in zip((foreign, missing), ids, strict=True)]
    assert said[0] == said[1]


def test_withdrawing_one_purpose_leaves_the_other(cast, gate):
    summaries, records = gate.for_program("summaries").json(), gate.for_program("records").json()
    gate.withdraw(records)
    assert gate.sees("lead") == 404
    standing = {each["id"]: each["withdrawn_at"] for each in gate.list()}
    assert (standing[summaries["id"]], standing[records["id"]] is None) == (None, False)


def test_consent_to_one_program_opens_nothing_to_the_leads_of_another(cast, gate):
    other = Program.objects.create(name="Other Valley Growers (invented)")
    ProgramMembership.objects.create(program=other, person=cast.stranger.person)
    gate.for_program("records")
    assert (gate.sees("lead"), gate.sees("stranger")) == (200, 404)


def test_the_wider_of_two_consents_counts(cast, gate):
    """A lead who also advises may do what the advice allows."""
    gate.for_program("records")
    lead = {"email": cast.lead.person.email, "name": "Jon"}
    gate.for_adviser(adviser=lead, rights=["read", "record"])
    assert cast.lead.client.get(gate.url).json()["role"] == "adviser"


def test_those_whom_a_consent_names_see_it_and_nobody_else_does(cast, gate):
    gate.for_program("summaries")
    seen = {
        name: [each["purpose"] for each in getattr(cast, name).client.get("/api/v1/me/consents").json()["results"]]
        for name in ("adviser", "lead", "worker", "owner", "stranger")
    }
    assert seen == {"adviser": ["advice"], "lead": ["summaries"], "worker": [], "owner": [], "stranger": []}


def test_an_ended_consent_stays_on_record_with_who_ended_it(gate):
    gate.withdraw(gate.standing)
    ended = gate.list()[0]
    assert (ended["withdrawn_at"] is None, ended["withdrawn_by"], ended["version"]) == (False, "Ines Falk", 2)


def test_withdrawing_twice_is_once(gate):
    first = gate.withdraw(gate.standing, '"1"').json()
    again = gate.withdraw(gate.standing, '"1"')
    assert (again.status_code, again.json()["withdrawn_at"]) == (200, first["withdrawn_at"])


@pytest.mark.parametrize(("version", "status"), [('"7"', 412), ("", 428)])
def test_a_withdrawal_says_which_version_it_ends(gate, version, status):
    assert gate.withdraw(gate.standing, version).status_code == status
    assert gate.sees("adviser") == 200


def test_a_second_consent_for_the_same_is_refused_while_one_stands(gate):
    """Otherwise a withdrawal would leave the other one open."""
    refused = gate.for_adviser()
    assert (refused.status_code, refused.json()["code"]) == (409, "already_recorded")
    assert refused.json()["current"]["id"] == gate.standing["id"]


def test_the_same_consent_sent_again_is_the_same_consent(gate):
    gate.withdraw(gate.standing)
    body = {"id": str(uuid.uuid4()), "until": SOON}
    first, again = gate.for_adviser(**body), gate.for_adviser(**body)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()


@pytest.mark.parametrize(
    ("asked", "pointer"),
    [
        ({"purpose": "advice", "text_version": "advice@1"}, "#/adviser"),
        ({"purpose": "records", "text_version": "records@1"}, "#/program"),
        ({"purpose": "records", "text_version": "records@1", "program": str(uuid.uuid4())}, "#/program"),
        ({"purpose": "records", "text_version": "records@1", "join_code": str(uuid.uuid4())}, "#/join_code"),
        ({"text_version": "advice@0"}, "#/text_version"),
        ({"until": LONG_AGO}, "#/until"),
        ({"from": SOON, "until": "2098-01-01T00:00:00Z"}, "#/until"),
        ({"rights": []}, "#/rights"),
        ({"rights": ["record"]}, "#/rights"),
    ],
)
def test_what_does_not_fit_together_is_refused_with_its_place(gate, asked, pointer):
    gate.withdraw(gate.standing)
    refused = gate.give(**asked) if "purpose" in asked else gate.for_adviser(**asked)
    assert (refused.status_code, [each["pointer"] for each in refused.json()["errors"]]) == (422, [pointer])


def test_one_of_the_farms_own_people_needs_no_consent_and_gets_none(cast, gate):
    refused = gate.for_adviser(adviser={"email": cast.viewer.person.email, "name": "Ada"})
    assert (refused.status_code, "viewer of this farm" in refused.json()["detail"]) == (409, True)


@pytest.mark.parametrize(
    "wrong",
    [
        {"purpose": "sale"},
        {"purpose": "records"},
        {"rights": ["manage"]},
        {"valid_until": "1999-01-01T00:00:00Z"},
        {"withdrawn_at": "2026-01-01T00:00:00Z"},
    ],
)
def test_the_database_itself_refuses_a_consent_that_does_not_fit_together(cast, gate, wrong):
    with pytest.raises(IntegrityError), transaction.atomic():
        gate.times(gate.standing, **wrong)


def test_the_database_itself_hides_a_consent_from_those_whom_it_does_not_name(cast):
    enter(cast.stranger.caller)
    assert Consent.objects.count() == 0
    enter(cast.adviser.caller)
    assert Consent.objects.count() == 1


def test_a_name_says_nothing_of_whether_the_service_knew_the_address(cast, gate):
    known = gate.for_adviser(adviser={"email": cast.stranger.person.email, "name": "As I say"}).json()
    unknown = gate.for_adviser(adviser={"email": "new@harrow-vale.example", "name": "As I say"}).json()
    for consent in (known, unknown):
        for member in ("id", "received_at", "changed_at", "from"):
            del consent[member]
        assert consent["adviser"].pop("email")
    assert known == unknown


def test_a_consent_given_in_code_and_withdrawn_there_is_the_same_one(cast):
    enter(cast.owner.caller)
    opened = open_farm(cast.owner.caller, cast.farm.pk)
    given = give_consent(
        opened, None, Asked(purpose="summaries", text_version="summaries@1", program_id=cast.program.pk)
    ).row
    assert withdraw_consent(opened, given.pk, version=1).withdrawn_by == cast.owner.person
