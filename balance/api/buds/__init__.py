"""Endpoints of bud injury and its adjustments."""
