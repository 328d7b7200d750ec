"""Verbs on nouns: every write goes through one of these, inside the caller's open farm."""
