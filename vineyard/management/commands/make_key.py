"""Make a key for a person; its text is printed once and kept nowhere."""

from __future__ import annotations

import uuid
from argparse import ArgumentParser
from datetime import timedelta
from typing import Any

from django.core.management import BaseCommand, CommandError

from records.access import Right
from records.models import Person
from records.services.keys import make_key


class Command(BaseCommand):
    """The making of a key."""

    help = "Make a key by which a person, or an app in their name, calls the API. It is printed once."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email", help="the person's address; a new person is made if --name is given")
        parser.add_argument("--name", help="the person's name, for somebody new")
        parser.add_argument("--label", default="made on the command line", help="what the key is for")
        parser.add_argument("--scopes", default="read", help=f"some of {','.join(Right)}, separated by commas")
        parser.add_argument("--app", default="", help="the app that will use it; its records name it")
        parser.add_argument("--farm", action="append", type=uuid.UUID, default=[], help="the only farms it opens")
        parser.add_argument("--days", type=int, default=365, help="how long it is good for")

    def handle(self, *_: Any, **options: Any) -> None:
        scopes = [word.strip() for word in options["scopes"].split(",") if word.strip()]
        unknown = sorted(set(scopes) - set(Right))
        if unknown or not scopes:
            raise CommandError(
                f"{unknown[0] if unknown else 'An empty list'!r} is no scope. Known: {', '.join(Right)}."
            )
        _, text = make_key(
            self._person(options["email"], options["name"]),
            label=options["label"],
            scopes=scopes,
            app_name=options["app"],
            farm_ids=options["farm"],
            valid_for=timedelta(days=options["days"]),
        )
        self.stdout.write(text)

    def _person(self, email: str, name: str | None) -> Person:
        known = Person.objects.filter(email=email).first()
        if known is None and not name:
            raise CommandError(f"There is nobody with the address {email}. Give --name to make them.")
        return known or Person.objects.create_user(email, name or "")
