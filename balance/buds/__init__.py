"""Bud injury from the samples of a block."""
