"""What stops a start of the stack; every message is a sentence for whoever started it."""


class StackError(RuntimeError):
    """The stack cannot come up."""


class StackBusy(StackError):
    """Another process owns this stack."""
