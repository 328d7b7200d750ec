"""A pruner's guesses held against the scale."""
