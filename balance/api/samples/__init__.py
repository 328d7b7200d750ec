"""Endpoints of sampling and shrinkage."""
