"""The process: settings, addresses, the embedded stack, and the behaviour that every endpoint shares."""
