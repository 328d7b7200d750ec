"""Endpoints of yield estimates, thinning and planting density."""
