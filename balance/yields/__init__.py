"""Yields by counting clusters, and thinning."""
