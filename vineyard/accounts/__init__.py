"""Signing in for people: to try calls in the documentation, and for the program's staff. The API itself takes keys."""
