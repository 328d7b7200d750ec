"""Endpoints of cordons and their replacement."""
