"""Run a command of the service."""

import os
import sys

from vineyard.launch import prepared


def main() -> int:
    """Bring up what the command needs, run it, and say in one sentence what stops it."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "vineyard.settings")
    from django.core.management import execute_from_command_line  # noqa: PLC0415 - reads the environment

    from vineyard.env import BadSetting  # noqa: PLC0415

    try:
        with prepared(sys.argv):
            execute_from_command_line(sys.argv)
    except BadSetting as error:
        print(error, file=sys.stderr)
        return 2
    except RuntimeError as error:
        if type(error).__module__ != "vineyard.stack.errors":
            raise
        print(error, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
