"""The invented scenario: read from its files, put on record, and its day played over HTTP."""
