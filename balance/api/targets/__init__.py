"""Endpoints of targets: one vine, a block, its mean, competing formulas, what was told."""
