"""Make a key for a person; its text is printed once and kept nowhere."""

from __future__ import annotations

import uuid
from argparse import ArgumentParser, ArgumentTypeError
from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management import BaseCommand, CommandError
from django.core.validators import validate_email
from django.db import transaction

from records.access import Caller, Right, enter, roles_of
from records.models import Person
from records.services.keys import make_key

LONGEST_DAYS = 3650


class Command(BaseCommand):
    """The making of a key."""

    help = "Make a key by which a person, or an app in their name, calls the API. It is printed once."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email", help="the person's address; a new person is made if --name is given")
        parser.add_argument("--name", help="the person's name, for somebody new")
        parser.add_argument("--label", default="made on the command line", help="what the key is for")
        parser.add_argument("--scopes", default="read", help=f"some of {','.join(Right)}, separated by commas")
        parser.add_argument("--app", default="", help="the app that will use it; its records name it")
        parser.add_argument(
            "--farm", action="append", type=uuid.UUID, default=[], help="the only farm it opens; again for more"
        )
        parser.add_argument("--days", type=_days, default=365, help="how long it is good for")

    def handle(self, *_: Any, **options: Any) -> None:
        scopes = _scopes(options["scopes"])
        with transaction.atomic():  # no new person without a key
            person = self._person(options["email"], options["name"])
            _refuse_strange_farms(person, options["farm"])
            key, text = make_key(
                person,
                label=options["label"][:80],
                scopes=scopes,
                app_name=options["app"][:80],
                farm_ids=options["farm"],
                valid_for=timedelta(days=options["days"]),
            )
        self.stdout.write(text)
        self.stderr.write(f"For {person.name}, {', '.join(key.scopes)}, until {key.expires_at:%Y-%m-%d}. Keep it now.")

    def _person(self, email: str, name: str | None) -> Person:
        known = Person.objects.filter(email=Person.objects.normalize_email(email)).first()
        if known:
            return known
        if not name:
            raise CommandError(f"There is nobody with the address {email}. Give --name to make them.")
        try:
            validate_email(email)
        except ValidationError as error:
            raise CommandError(f"{email!r} is no e-mail address.") from error
        return Person.objects.create_user(email, name)


def _scopes(text: str) -> list[str]:
    scopes = [word.strip() for word in text.split(",") if word.strip()]
    unknown = sorted(set(scopes) - set(Right))
    if unknown or not scopes:
        raise CommandError(f"{unknown[0] if unknown else 'An empty list'!r} is no scope. Known: {', '.join(Right)}.")
    return scopes


def _days(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= LONGEST_DAYS):
        raise ArgumentTypeError(f"{text!r} is no number of days from 1 to {LONGEST_DAYS}")
    return int(text)


def _refuse_strange_farms(person: Person, farms: Sequence[uuid.UUID]) -> None:
    """Refuse a farm in which the person has no part: the key would open nothing there."""
    caller = Caller(person)
    enter(caller)
    strange = [farm for farm in farms if farm not in roles_of(caller)]
    if strange:
        raise CommandError(f"{person.name} has no part in a farm {strange[0]}; the key would open nothing there.")
