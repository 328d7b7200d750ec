"""Endpoints of a pruner's guesses."""
