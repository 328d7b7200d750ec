"""Make the tables and a key, as the commands do, but in one process: each costs seconds to start."""

from __future__ import annotations

import os
import sys

import django


def main() -> None:
    os.environ["DJANGO_SETTINGS_MODULE"] = "vineyard.settings"
    django.setup()
    from django.core.management import call_command

    from vineyard.starting import prepare_database

    prepare_database(lambda said: print(said, file=sys.stderr))
    call_command("make_key", "ines.falk@tern-hill.example", name="Ines Falk (invented)", scopes="read,record,manage",
                 app="faulty phone")  # fmt: skip


if __name__ == "__main__":
    main()
