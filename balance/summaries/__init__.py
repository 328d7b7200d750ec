"""Summaries: what a block's records of a season come to, kept current by the database, and what is read from it."""
