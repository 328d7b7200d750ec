"""Endpoints of crop load, vine size and its trend."""
