"""Put the invented scenario on record, and make the keys of one run; safe to repeat."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.db import transaction

from records.access import Caller, OpenFarm, Right, enter, open_farm
from records.api.bulk_bodies import Documents
from records.bulk.storing import OnConflict
from records.bulk.taking import Options, take_documents
from records.consent_texts import CURRENT
from records.models import ApiKey, Consent, Cultivar, Person, Program, ProgramMembership, Role, Vine
from records.services.consents import Adviser, Asked, give_consent
from records.services.farms import create_farm, set_role
from records.services.keys import make_key, revoke_key
from records.services.vineyards import create_block, create_row, plant_row
from records.units import Quantity
from vineyard.demo.scenario import BlockPlan, ConsentPlan, FarmPlan, KeyPlan, Scenario

#: By this beginning of its label a key of an earlier run is known, and taken back.
KEY_LABEL = "invented scenario:"


def load_scenario(scenario: Scenario) -> Program:
    """Put people, program, farms, roles, blocks, rows and vines on record; what stands there stays."""
    people = {code: _person(scenario, code) for code in scenario.people}
    program = _program(scenario, people)
    for farm in scenario.farms.values():
        with transaction.atomic():
            opened = _load_farm(farm, people, program)
            if farm is scenario.farm:
                _load_history(opened, scenario)
    return program


def make_keys(scenario: Scenario) -> dict[str, str]:
    """Make the keys of this run, and take back those of earlier runs; gives their texts by the plan's names."""
    emails = [part.email for part in scenario.people.values()]
    with transaction.atomic():
        for old in ApiKey.objects.filter(person__email__in=emails, label__startswith=KEY_LABEL, revoked_at=None):
            revoke_key(old)
        return {code: _key(scenario, plan) for code, plan in scenario.keys.items()}


def _person(scenario: Scenario, code: str) -> Person:
    part = scenario.people[code]
    known = Person.objects.filter(email=part.email).first()
    return known or Person.objects.create_user(part.email, part.name)


def _program(scenario: Scenario, people: dict[str, Person]) -> Program:
    told = scenario.program
    program, _ = Program.objects.get_or_create(name=told["name"], defaults={"region": told["region"]})
    ProgramMembership.objects.get_or_create(program=program, person=people[told["lead"]])
    return program


def _load_farm(plan: FarmPlan, people: dict[str, Person], program: Program) -> OpenFarm:
    owner = next(people[code] for code, role in plan.roles.items() if role == Role.OWNER)
    caller = Caller(owner)
    enter(caller)
    columns = {**plan.columns, "program": program if plan.in_program else None, "region": program.region}
    farm, _ = create_farm(caller, plan.id, columns)
    for code, role in plan.roles.items():
        set_role(farm, people[code], role)
    opened = open_farm(caller, farm.pk, Right.MANAGE)
    for consent in plan.consents:
        _give(opened, consent, people, program)
    for block in plan.blocks.values():
        _load_block(opened, block)
    return opened


def _load_history(opened: OpenFarm, scenario: Scenario) -> None:
    """Put the records of earlier years where they are missing, the way a field app's bulk would."""
    vines = Vine.objects.for_farm(opened.farm).filter(block_id=scenario.block.id)
    ids = {(vine.row_number, vine.place): str(vine.pk) for vine in vines}
    documents = [{**past.said, "vine": ids[past.row, past.place]} for past in scenario.history]
    taken = take_documents(opened, documents, Options(on_conflict=OnConflict.IGNORE), Documents())
    refused = [outcome for outcome in taken.outcomes.values() if outcome.status == "error"]
    if refused:
        raise ValueError(f"{len(refused)} records of the scenario's history were refused; the first: {refused[0]}")


def _give(opened: OpenFarm, plan: ConsentPlan, people: dict[str, Person], program: Program) -> None:
    """Give a consent of the scenario unless it stands; one that somebody withdrew while playing is given anew."""
    person = people[plan.person] if plan.person else None
    whom: dict[str, Any] = {"person": person} if person else {"program": program}
    if Consent.objects.for_farm(opened.farm).filter(purpose=plan.purpose, withdrawn_at=None, **whom).exists():
        return
    adviser = Adviser(person.email, person.name) if person else None
    asked = Asked(
        purpose=plan.purpose,
        text_version=CURRENT[plan.purpose].version,
        adviser=adviser,
        program_id=None if person else program.pk,
        rights=plan.rights,
    )
    give_consent(opened, None, asked)


def _load_block(opened: OpenFarm, plan: BlockPlan) -> None:
    block = create_block(opened, plan.id, _block_columns(plan)).row
    for row in plan.rows:
        plant_row(opened, create_row(opened, block, row.id, row.number).row, row.vines)


def _block_columns(plan: BlockPlan) -> dict[str, Any]:
    columns = dict(plan.columns)
    columns["cultivar"] = Cultivar.objects.get(code=columns["cultivar"])
    for spacing in ("row_spacing", "vine_spacing"):
        columns[spacing] = Quantity(Decimal(columns[spacing]["value"]), columns[spacing]["unit"])
    return columns


def _key(scenario: Scenario, plan: KeyPlan) -> str:
    person = Person.objects.get(email=scenario.people[plan.person].email)
    farms = [scenario.farms[plan.farm].id] if plan.farm else []
    _, text = make_key(person, label=f"{KEY_LABEL} {plan.code}", scopes=plan.scopes, app_name=plan.app, farm_ids=farms)
    return text
